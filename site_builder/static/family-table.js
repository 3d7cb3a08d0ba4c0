"use strict";

/**
 * Filters and sorts the table of a family's variants.  The table is whole without it: `table[data-table]`, whose cells say in
 * `data-sort` what they sort by where it is not their text, and whose heads say in `data-choose` that one can choose a value.
 */
(() => {
  /** @param {HTMLTableCellElement | undefined} cell */
  const shown = (cell) => (cell?.textContent || "").trim();
  /** @param {HTMLTableCellElement | undefined} cell */
  const sortedBy = (cell) => cell?.dataset.sort ?? shown(cell);
  const order = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

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

  /** A list with its label above it. @param {string} label @param {HTMLElement} list @param {Record<string, string>} attributes */
  const labeled = (label, list, attributes) => {
    list.id = "by-" + label.toLowerCase().replace(/[^a-z]+/g, "-");
    return element("p", attributes, element("label", { for: list.id }, label), list);
  };

  /** @param {HTMLTableElement} table */
  const serve = (table) => {
    const heads = [...(table.tHead?.rows[0]?.cells || [])], body = table.tBodies[0];
    if (!body || body.rows.length < 2) return;
    const rows = [...body.rows];
    const said = element("p", { role: "status" });
    /** @type {{column: number, list: HTMLSelectElement}[]} */
    const choices = [];

    const filter = () => {
      let left = 0;
      for (const row of rows) {
        row.hidden = choices.some(({ column, list }) => list.value !== "" && shown(row.cells[column]) !== list.value);
        left += row.hidden ? 0 : 1;
      }
      said.textContent = left === rows.length ? "All " + left + " are shown." : left + " of " + rows.length + " are shown.";
      clear.hidden = left === rows.length && choices.every(({ list }) => list.value === "");
    };

    const clear = element("button", { type: "button" }, "Show all");
    clear.addEventListener("click", () => {
      for (const { list } of choices) list.value = "";
      filter();
      choices[0]?.list.focus();
    });
    clear.hidden = true;

    const tools = element("form", { class: "table-tools", "aria-label": "Choose among the variants" });
    heads.forEach((head, column) => {
      const values = [...new Set(rows.map((row) => shown(row.cells[column])))];
      if (head.dataset.choose === undefined || values.length < 2) return;
      const by = new Map(rows.map((row) => [shown(row.cells[column]), sortedBy(row.cells[column])]));
      values.sort((a, b) => order.compare(by.get(a) || "", by.get(b) || ""));
      const list = /** @type {HTMLSelectElement} */ (element("select", {}, element("option", { value: "" }, "any"), ...values.map((value) => element("option", { value }, value === "–" ? "not recorded" : value))));
      list.addEventListener("change", filter);
      choices.push({ column, list });
      tools.append(labeled(shown(head), list, {}));
    });
    tools.addEventListener("submit", (event) => event.preventDefault());

    /** @param {number} column @param {boolean} down */
    const sort = (column, down) => {
      const sorted = [...rows].sort((a, b) => {
        const one = sortedBy(a.cells[column]), other = sortedBy(b.cells[column]);
        // What is not recorded comes last either way.
        const unsaid = Number(one === "–") - Number(other === "–");
        return unsaid || (down ? -1 : 1) * order.compare(one, other) || rows.indexOf(a) - rows.indexOf(b);
      });
      body.append(...sorted);
      heads.forEach((head, other) => (other === column ? head.setAttribute("aria-sort", down ? "descending" : "ascending") : head.removeAttribute("aria-sort")));
      sorting.value = String(column);
      said.textContent = "Sorted by " + shown(heads[column]).toLowerCase() + (down ? ", the last first." : ".");
    };
    // Where the heads cannot be seen, on a phone, a list does the same.
    const sorting = /** @type {HTMLSelectElement} */ (element("select", {}, ...heads.map((head, column) => element("option", { value: String(column) }, shown(head)))));
    sorting.addEventListener("change", () => sort(Number(sorting.value), false));
    tools.append(labeled("Sorted by", sorting, { class: "sorting" }), clear);
    heads.forEach((head, column) => {
      const button = element("button", { type: "button", class: "sorts" }, ...head.childNodes);
      button.addEventListener("click", () => sort(column, head.getAttribute("aria-sort") === "ascending"));
      head.replaceChildren(button);
    });

    const place = table.previousElementSibling;
    if (place?.matches(".table-place")) place.replaceChildren(tools, said);
    else table.before(tools, said);
    filter();
  };

  for (const table of document.querySelectorAll("table[data-table]")) if (table instanceof HTMLTableElement) serve(table);
})();
