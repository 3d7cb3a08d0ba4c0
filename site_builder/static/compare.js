"use strict";

/**
 * The page that puts two to six variants or parts side by side.  What is compared stands in the address: `#one,other`, and
 * `&every` when what is the same is shown as well.
 *
 * @typedef {object} CompareData  what compare-data.js assigns
 * @property {Group[]} groups
 * @property {Record<string, string[]>} moved
 * @property {Record<string, string>} addresses  of each kind, `*` being the id
 * @property {string} unsaid
 *
 * @typedef {{kind: string, id: string, name: string, members: [string, string][]}} Group
 * @typedef {[string, string, string, number, [string, string[]][], string, string]} CompareRow
 *   trait, name, where to look, effort, [words, states] of each value, the code of each member's value, slot type
 * @typedef {{text: string, states: string[], group: Group | null}} Cell
 * @typedef {{trait: string, name: string, where: string, effort: number, slotType: string, cells: Cell[]}} Line
 * @typedef {{id: string, name: string, group: Group, place: number}} Chosen
 */
(() => {
  const MOST = 6, LETTERS = "ABCDEF";
  const page = document.getElementById("compare-page");
  if (!page) return;
  const data = tellmarkCompareData;

  /** @template {Element} T @param {string} selector @param {{new (): T}} kind @returns {T} */
  const one = (selector, kind) => {
    const found = page.querySelector(selector);
    if (!(found instanceof kind)) throw new Error("no " + selector + " on the page");
    return found;
  };
  const form = one("form", HTMLFormElement), groups = one("#compare-group", HTMLSelectElement), members = one("#compare-member", HTMLSelectElement);
  const problem = one(".problem", HTMLElement), list = one(".compared", HTMLElement), table = one("table", HTMLTableElement);
  const every = one("#compare-every", HTMLInputElement), said = one("[role=status]", HTMLElement);

  /** @type {Map<string, Chosen>} */
  const known = new Map();
  for (const group of data.groups) group.members.forEach(([id, name], place) => known.set(group.kind + " " + id, { id, name, group, place }));

  /** The variant of this id, else the part. @param {string} id */
  const chosenOf = (id) => known.get("variant " + id) || known.get("part " + id);
  /** @param {Group} group */
  const keyOf = (group) => group.kind + "/" + group.id;

  /** @type {Map<string, Promise<void>>} */
  const loading = new Map();
  /** Loads a script once. @param {string} src */
  const script = (src) => {
    const begun = loading.get(src);
    if (begun) return begun;
    /** @type {Promise<void>} */
    const now = new Promise((done, failed) => {
      const element = document.createElement("script");
      element.src = src;
      element.onload = () => done();
      element.onerror = () => failed(new Error(src + " cannot be loaded"));
      document.head.append(element);
    });
    loading.set(src, now);
    return now;
  };

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

  // The address -----------------------------------------------------------------------------------------------------------

  /** What the address asks for: the ids, old ones followed, and what is wrong with them. */
  const asked = () => {
    const [ids = "", ...options] = location.hash.slice(1).split("&");
    const wanted = ids.split(",").map((id) => decoded(id).trim()).filter(Boolean);
    const now = [...new Set(wanted.flatMap((id) => data.moved[id] || [id]))];
    const unknown = now.filter((id) => !chosenOf(id));
    let chosen = now.map(chosenOf).filter((found) => found !== undefined);
    const problems = unknown.length ? ["There is no variant or part called " + unknown.map((id) => "“" + id + "”").join(", ") + "."] : [];
    const kind = chosen[0]?.group.kind;
    if (chosen.some((found) => found.group.kind !== kind)) {
      problems.push("Variants and parts cannot be put side by side; only the " + kind + "s are shown.");
      chosen = chosen.filter((found) => found.group.kind === kind);
    }
    if (chosen.length > MOST) problems.push("Only the first six are shown.");
    return { chosen: chosen.slice(0, MOST), every: options.includes("every"), problems };
  };

  /** @param {string} id */
  const decoded = (id) => {
    try {
      return decodeURIComponent(id);
    } catch {
      return id;
    }
  };

  /** @param {Chosen[]} chosen @param {boolean} all */
  const hashOf = (chosen, all) => "#" + chosen.map(({ id }) => id).join(",") + (all ? "&every" : "");

  // The table -------------------------------------------------------------------------------------------------------------

  /** Every line of the table, the cheapest look first; of two families the last one's names count. @param {Chosen[]} chosen */
  const linesOf = (chosen) => {
    /** @type {Map<string, Line>} */
    const lines = new Map();
    for (const key of new Set(chosen.map(({ group }) => keyOf(group)))) {
      for (const [trait, name, where, effort, values, codes, slotType] of tellmarkCompareRows[key] || []) {
        const line = lines.get(trait) || { trait, name, where, effort, slotType, cells: chosen.map(() => ({ text: data.unsaid, states: [], group: null })) };
        chosen.forEach(({ group, place }, column) => {
          if (keyOf(group) !== key) return;
          const [text, states] = values[codes.charCodeAt(place) - 48] || [data.unsaid, []];
          line.cells[column] = { text, states, group };
        });
        lines.set(trait, { ...line, name, where });
      }
    }
    return [...lines.values()];
  };

  /** The drawings of a cell's states: the family's own, else those of the slot type, else those that all families share. @param {Line} line @param {Cell} cell @param {string} letter */
  const drawn = ({ trait, slotType }, { states, group }, letter) => {
    const all = globalThis.tellmarkComparePictures || {};
    /** @param {string} key @param {string} name */
    const one = (key, name) => all[key]?.[name];
    const found = states
      .map((state) => (group && one(keyOf(group), trait + "/" + state)) ?? one("part/" + slotType, trait.split(".").pop() + "/" + state) ?? one("common/common", trait + "/" + state))
      .filter((svg) => svg !== undefined);
    if (!found.length) return [];
    const made = element("div", { class: "pictures" });
    for (const svg of found) {
      const figure = element("figure", {});
      // Written by the builder out of a short list of elements, see `trusted` in drawn.py. The ids in it become this column's.
      figure.innerHTML = svg.replace(/(["#])picture-/g, "$1" + letter + "-picture-");
      made.append(figure);
    }
    return [made];
  };

  /** @param {Line} line @param {Chosen[]} chosen */
  const lineRow = (line, chosen) => {
    const { name, where, cells } = line;
    const texts = cells.map(({ text }) => text);
    const kinds = [...new Set(texts)];
    const head = element("th", { scope: "row" }, name, ...(where ? [element("span", { class: "look" }, where)] : []));
    const same = kinds.length === 1;
    const row = element("tr", same ? { class: "same" } : {}, head);
    cells.forEach((cell, column) => {
      const letter = LETTERS[column] || "";
      const other = !same && kinds.indexOf(cell.text) > 0;
      const like = texts.indexOf(cell.text);
      const words = element("span", { class: "value" }, cell.text);
      const note = other && like < column ? [element("span", { class: "like" }, "as " + LETTERS[like])] : [];
      const marks = cell.text === data.unsaid ? "unsaid" : other ? "other other-" + kinds.indexOf(cell.text) : "";
      row.append(element("td", { class: marks, "data-label": letter + "  " + (chosen[column]?.name || "") }, ...drawn(line, cell, letter), words, ...note));
    });
    return row;
  };

  /** Whether a line is not the same in all columns. @param {Line} line */
  const differs = ({ cells }) => new Set(cells.map(({ text }) => text)).size > 1;

  /** @param {Chosen[]} chosen @param {Line[]} lines */
  const draw = (chosen, lines) => {
    const different = lines.filter(differs);
    const shown = every.checked ? lines : different;
    const heads = chosen.map(({ name }, column) => element("th", { scope: "col" }, element("b", {}, LETTERS[column] || ""), " " + name));
    one("thead", HTMLElement).replaceChildren(element("tr", {}, element("th", { scope: "col" }, "Look at"), ...heads));
    one("tbody", HTMLElement).replaceChildren(...shown.map((line) => lineRow(line, chosen)));
    table.hidden = shown.length === 0;
    const names = chosen.map((_, column) => LETTERS[column]).join(", ").replace(/, (.)$/, " and $1");
    said.textContent = different.length
      ? different.length + " of " + lines.length + " traits and fitted parts differ between " + names + "."
      : "Nothing that is recorded differs between " + names + ".";
  };

  /** @param {Chosen[]} chosen */
  const drawList = (chosen) => {
    const items = chosen.map(({ id, name, group }, column) => {
      const link = element("a", { href: (data.addresses[group.kind] || "").replace("*", id) }, name);
      const remove = element("button", { type: "button", "aria-label": "Take away " + name }, "Take away");
      remove.addEventListener("click", () => {
        location.hash = hashOf(chosen.filter((other) => other.id !== id), every.checked);
        form.querySelector("select")?.focus();
      });
      return element("li", {}, element("b", {}, LETTERS[column] || ""), " ", link, " ", remove);
    });
    list.replaceChildren(...items);
  };

  // What is done ----------------------------------------------------------------------------------------------------------

  const offer = () => {
    const group = data.groups[groups.selectedIndex];
    members.replaceChildren(...(group ? group.members.map(([id, name]) => element("option", { value: id }, name)) : []));
  };

  const show = async () => {
    const { chosen, every: all, problems } = asked();
    every.checked = all;
    problem.textContent = problems.join(" ");
    drawList(chosen);
    const compared = chosen.length > 1;
    one(".every", HTMLElement).hidden = !compared;
    if (!compared) {
      table.hidden = true;
      said.textContent = chosen.length ? "Choose another to put beside it." : "Choose two to six variants, or parts.";
      return;
    }
    const files = [...new Set(chosen.map(({ group }) => "compare/" + group.kind + "-" + group.id))];
    const asWas = location.hash;
    await Promise.all(files.map((file) => script(file + ".js")));
    if (location.hash !== asWas) return;
    const lines = linesOf(chosen);
    draw(chosen, lines);
    const types = lines.filter(differs).map(({ slotType }) => slotType).filter(Boolean);
    const pictures = [...files, ...[...new Set(types)].map((type) => "compare/part-" + type), "compare/common-common"];
    await Promise.all(pictures.map((file) => script(file + "-pictures.js")));
    if (location.hash === asWas) draw(chosen, lines);
  };

  groups.replaceChildren(
    ...["variant", "part"].map((kind) => {
      const inside = data.groups.filter((group) => group.kind === kind).map((group) => element("option", { value: keyOf(group) }, group.name));
      return element("optgroup", { label: kind === "variant" ? "Variants" : "Parts" }, ...inside);
    }),
  );
  groups.addEventListener("change", offer);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const { chosen } = asked();
    const added = data.groups[groups.selectedIndex]?.members[members.selectedIndex];
    if (!added) return;
    if (chosen.length >= MOST) problem.textContent = "Six are side by side already; take one away first.";
    else if (chosen.some(({ id }) => id === added[0])) problem.textContent = added[1] + " is there already.";
    else location.hash = "#" + [...chosen.map(({ id }) => id), added[0]].join(",") + (every.checked ? "&every" : "");
  });
  every.addEventListener("change", () => {
    location.hash = hashOf(asked().chosen, every.checked);
  });
  window.addEventListener("hashchange", () => void show());

  page.hidden = false;
  const first = asked().chosen[0];
  if (first) groups.value = keyOf(first.group);
  offer();
  void show();
})();
