"use strict";

/**
 * The search field of every page and the search page.  Nothing is loaded before somebody turns to the field, and on the search
 * page, whose field has the focus from the first, touches it: then the index's library, the records and `find.js`, one after another.
 */
(() => {
  const IN_THE_PANEL = 8, ON_THE_PAGE = 100;
  const LABELS = /** @type {Record<string, string>} */ ({ markings: "reads", said: "also called", livery: "livery", maker: "maker", parts: "parts", states: "shows", about: "about" });

  /** @type {Promise<ReturnType<typeof tellmarkFinder>> | undefined} */
  let loading;

  /** Loads what the search needs, once. @param {string} up  leads to the site's root */
  const finder = (up) => {
    loading ??= (async () => {
      for (const name of ["vendor/minisearch.js", "find.js", "search-data.js"]) await script(up + name);
      await Promise.all(tellmarkSearchData.groups.map((name) => script(up + name)));
      return tellmarkFinder(tellmarkSearchData, tellmarkSearchRows, MiniSearch);
    })();
    return loading;
  };

  /** @param {string} src @returns {Promise<void>} */
  const script = (src) =>
    new Promise((done, failed) => {
      const element = document.createElement("script");
      element.src = src;
      element.onload = () => done();
      element.onerror = () => failed(new Error(src + " cannot be loaded"));
      document.head.append(element);
    });

  /**
   * An element with its attributes and what is in it.
   * @param {string} tag
   * @param {Record<string, string>} attributes
   * @param {...(Node | string)} inside
   */
  const element = (tag, attributes, ...inside) => {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    made.append(...inside);
    return made;
  };

  /** A text with its found words marked. @param {Shown} shown */
  const marked = ({ text, marks }) => {
    const made = document.createDocumentFragment();
    let at = 0;
    for (const [start, end] of marks) {
      made.append(text.slice(at, start), element("mark", {}, text.slice(start, end)));
      at = end;
    }
    made.append(text.slice(at));
    return made;
  };

  /** @param {Hit} hit @param {string} up @param {boolean} whole  with the texts it was found in */
  const item = (hit, up, whole) => {
    const name = hit.where.find((shown) => shown.field === "name");
    const number = hit.where.find((shown) => shown.field === "numbers");
    const years = hit.where.find((shown) => shown.field === "years");
    const facts = element("p", { class: "meta" }, hit.kind);
    for (const shown of [number, years]) if (shown) facts.append(" · ", marked(shown));
    const made = element("li", {}, element("p", { class: "who" }, element("a", { href: up + hit.href }, name ? marked(name) : hit.name)), facts);
    for (const shown of whole ? hit.where : []) {
      const label = LABELS[shown.field];
      if (label) made.append(element("p", { class: "found-in" }, label + ": ", marked(shown)));
    }
    return made;
  };

  /** What was found in one sentence. @param {Found} found @param {string} text */
  const summary = (found, text) => {
    const meant = found.suggestions.length ? " Did you mean " + found.suggestions.map((one) => "“" + one + "”").join(" or ") + "?" : "";
    if (!found.count) return "Nothing found for “" + text + "”." + meant;
    const few = found.allWords ? "" : " None has all of the words.";
    return (found.count === 1 ? "1 record found." : found.count + " records found.") + few + meant;
  };

  /** @param {string} text @param {string} kind */
  const asHash = (text, kind) => "#q=" + encodeURIComponent(text) + (kind ? "&kind=" + encodeURIComponent(kind) : "");

  /** Up and down arrows move between the field and its links, Escape empties the list. @param {HTMLElement} root @param {HTMLInputElement} field @param {() => void} close */
  const walk = (root, field, close) => {
    root.addEventListener("keydown", (event) => {
      const stops = [field, ...root.querySelectorAll("li a, p.all a")].filter((one) => one instanceof HTMLElement);
      const at = stops.findIndex((one) => one === document.activeElement);
      const to = { ArrowDown: at + 1, ArrowUp: at - 1 }[event.key];
      if (event.key === "Escape") {
        close();
        field.focus();
      } else if (to !== undefined && at >= 0 && stops[to]) {
        event.preventDefault();
        stops[to]?.focus();
      }
    });
  };

  /** Calls back a little after the last keystroke. @param {HTMLInputElement} field @param {() => void} then */
  const typed = (field, then) => {
    let waiting = 0;
    field.addEventListener("input", () => {
      window.clearTimeout(waiting);
      waiting = window.setTimeout(then, 120);
    });
  };

  /** The field at the head of a page: the best few in a list below it, the rest on the search page. @param {HTMLFormElement} form */
  const fieldOfPage = (form) => {
    const up = form.dataset.up || "";
    const field = form.querySelector("input"), list = form.querySelector("ul"), said = form.querySelector("[role=status]"), all = form.querySelector("p.all");
    if (!(field && list && said instanceof HTMLElement && all instanceof HTMLElement)) return;
    const close = () => {
      list.replaceChildren();
      all.replaceChildren();
      said.textContent = "";
      form.classList.remove("open");
    };
    const show = async () => {
      const text = field.value;
      if (!text.trim()) return close();
      const found = (await finder(up)).search(text, "", IN_THE_PANEL);
      if (text !== field.value) return;
      list.replaceChildren(...found.hits.map((hit) => item(hit, up, false)));
      all.replaceChildren(...(found.count > found.hits.length ? [element("a", { href: up + "search.html" + asHash(text, "") }, "All " + found.count)] : []));
      said.textContent = summary(found, text);
      form.classList.add("open");
    };
    form.hidden = false;
    field.addEventListener("focus", () => void finder(up), { once: true });
    typed(field, () => void show());
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (field.value.trim()) location.href = up + "search.html" + asHash(field.value, "");
    });
    document.addEventListener("click", (event) => {
      if (event.target instanceof Node && !form.contains(event.target)) close();
    });
    form.addEventListener("focusout", (event) => {
      if (event.relatedTarget instanceof Node && !form.contains(event.relatedTarget)) close();
    });
    walk(form, field, close);
  };

  /** The search page: everything that was found, and what is asked for stands in the address. @param {HTMLElement} place */
  const pageOfSearch = (place) => {
    const form = place.querySelector("form"), field = place.querySelector("input"), kinds = place.querySelector("select");
    const list = place.querySelector("ul.rows"), said = place.querySelector("[role=status]");
    if (!(form && field && kinds && list && said)) return;
    const show = async () => {
      const text = field.value, kind = kinds.value;
      history.replaceState(null, "", text.trim() ? asHash(text, kind) : location.pathname.replace(/^.*\//, ""));
      if (!text.trim()) {
        list.replaceChildren();
        said.textContent = "";
        return;
      }
      const found = (await finder("")).search(text, kind, ON_THE_PAGE);
      if (text !== field.value || kind !== kinds.value) return;
      list.replaceChildren(...found.hits.map((hit) => item(hit, "", true)));
      const rest = found.count > found.hits.length ? " The first " + found.hits.length + " are shown." : "";
      said.textContent = summary({ ...found, suggestions: [] }, text) + rest;
      if (found.suggestions.length) said.append(" Did you mean ", ...suggested(found.suggestions, kind), "?");
    };
    /** @param {string[]} suggestions @param {string} kind @returns {(Node | string)[]} */
    const suggested = (suggestions, kind) =>
      suggestions.flatMap((one, place) => [...(place ? [" or "] : []), element("a", { href: asHash(one, kind) }, one)]);
    const read = () => {
      const asked = new URLSearchParams(location.hash.slice(1));
      field.value = asked.get("q") || "";
      kinds.value = asked.get("kind") || "";
      if (kinds.selectedIndex < 0) kinds.value = "";
      void show();
    };
    place.hidden = false;
    for (const turned of ["keydown", "pointerdown"]) field.addEventListener(turned, () => void finder(""), { once: true });
    typed(field, () => void show());
    kinds.addEventListener("change", () => void show());
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      void show();
    });
    window.addEventListener("hashchange", read);
    walk(place, field, () => {
      field.value = "";
      void show();
    });
    read();
    if (!field.value) field.focus();
  };

  for (const one of document.querySelectorAll(".unscripted")) if (one instanceof HTMLElement) one.hidden = true;
  const form = document.querySelector("form.search-field"), place = document.getElementById("search-page");
  if (place) pageOfSearch(place);
  else if (form instanceof HTMLFormElement) fieldOfPage(form);
})();
