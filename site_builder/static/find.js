"use strict";

/**
 * Finds records by words: the same documents, words and ranks as `kb/documents.py` and `kb/search.py`, scored by MiniSearch.
 *
 * @typedef {object} SearchData  what search-data.js assigns
 * @property {string[]} kinds
 * @property {string[]} places  the addresses records can have, `*` being the id
 * @property {Record<string, number>} weights  of each searched field
 * @property {string[]} groups  the scripts with the records
 *
 * @typedef {{texts: string[], rows: Row[]}} SearchGroup  what one of them adds; numbers in a row are places in `texts`
 * @typedef {[number, string, string, number[], number[], number[], number, number, [number, number] | 0, number[], number[], string, number]} Row
 *   kind, id, name, numbers, markings, said, livery, maker, years, parts, states, about, place
 *
 * @typedef {object} SearchDocument
 * @property {number} kind
 * @property {string} id
 * @property {[number, number] | 0} years
 * @property {string[]} numbers
 * @property {string[]} markings
 * @property {string} href
 * @property {Record<string, string[]>} texts  by field, the first to be shown in front
 *
 * @typedef {{text: string, start: number, end: number}} Word
 * @typedef {{each: Map<string, number>[], whole: Map<string, number>}} Meant  {word of the record: weight} of each piece of a word, and of it whole
 * @typedef {{field: string, text: string, marks: [number, number][]}} Shown
 * @typedef {{kind: string, id: string, name: string, href: string, years: string, score: number, where: Shown[]}} Hit
 * @typedef {{hits: Hit[], count: number, allWords: boolean, suggestions: string[]}} Found
 */

/**
 * @param {SearchData} data
 * @param {Record<string, SearchGroup>} groups
 * @param {typeof MiniSearch} Library
 */
function tellmarkFinder(data, groups, Library) {
  const MISTAKES = [[8, 2], [4, 1]];
  const PLURAL = 0.9, BEGINS = 0.5, MISSPELLED = 0.4;
  const MOST_OTHERS = 40, MOST_SUGGESTIONS = 3, MOST_YEARS = 60;
  const SHOWN = 140, BEFORE = 40, MOST_FIELDS = 3;
  const NAMED_RANK = 3, LAST_RANK = 6;
  const WORD = "[\\p{L}\\p{N}]+(?:['’][\\p{L}\\p{N}]+)*";
  const JOINED = new RegExp(WORD + "(?:[-./]" + WORD + ")*", "gu");
  const PIECE = new RegExp(WORD, "gu");

  // Words -----------------------------------------------------------------------------------------------------------------

  /** A word as it is compared: small letters, no accents, no apostrophes. @param {string} word */
  const plain = (word) => word.normalize("NFKD").replace(/\p{M}/gu, "").replace(/['’]/g, "").toLowerCase();

  /** @param {string} text @param {RegExp} pattern @param {number} offset @returns {Word[]} */
  const matches = (text, pattern, offset) =>
    [...text.matchAll(pattern)].map((found) => ({
      text: plain(found[0]),
      start: offset + found.index,
      end: offset + found.index + found[0].length,
    }));

  /** The words of a text; what hyphens, dots or slashes join is one word. @param {string} text */
  const words = (text) => matches(text, JOINED, 0);

  /** As `words`, and after each joined one what it is joined of. @param {string} text */
  const pieces = (text) =>
    words(text).flatMap((whole) => {
      const inside = matches(text.slice(whole.start, whole.end), PIECE, whole.start);
      return inside.length > 1 ? [whole, ...inside] : [whole];
    });

  /** @param {string} text */
  const spelled = (text) => words(text).map((word) => word.text).join(" ");
  /** @param {string} text */
  const squeezed = (text) => plain(text).replace(/[^\p{L}\p{N}]/gu, "");
  /** @param {string} text */
  const hasDigit = (text) => /\p{Nd}/u.test(text);

  // Documents -------------------------------------------------------------------------------------------------------------

  /** @param {[number, number]} years */
  const span = (years) => (years[0] === years[1] ? String(years[0]) : years[0] + " to " + years[1]);

  /** @param {SearchGroup} group @returns {SearchDocument[]} */
  const read = ({ texts, rows }) =>
    rows.map(([kind, id, name, numbers, markings, said, livery, maker, years, parts, states, about, place]) => {
      /** @param {number[]} places */
      const told = (places) => places.map((one) => texts[one] || "");
      const byField = {
        name: [name],
        numbers: told(numbers),
        markings: told(markings),
        said: told(said),
        id: [id],
        livery: told([livery]),
        maker: told([maker]),
        years: years ? [span(years)] : [],
        parts: told(parts),
        states: told(states),
        about: [about],
      };
      const href = (data.places[place] || "").replace("*", id);
      return { kind, id, years, numbers: byField.numbers, markings: byField.markings, href, texts: byField };
    });

  /** In the order of records that a query names equally well: by kind, the earliest first, then by id. @type {SearchDocument[]} */
  const all = Object.values(groups).flatMap(read);
  /** @param {SearchDocument} one */
  const first = ({ years }) => (years ? years[0] : 9999);
  all.sort((a, b) => a.kind - b.kind || first(a) - first(b) || (a.id < b.id ? -1 : 1));

  /** @type {Map<string, number>} in how many documents each word stands */
  const vocabulary = new Map();

  /** The words that stand anywhere but among what people say, where misspelled ones are kept on purpose. @type {Set<string>} */
  const proper = new Set();

  /** {field: words} as they are indexed, each field's joined by spaces. @param {SearchDocument} one @returns {Record<string, string>} */
  const indexed = ({ texts, numbers, years }) => {
    /** @type {Record<string, string[]>} */
    const fields = {};
    for (const [field, row] of Object.entries(texts)) fields[field] = row.flatMap((text) => pieces(text).map((word) => word.text));
    fields.numbers = [...(fields.numbers || []), ...numbers.map(squeezed)];
    if (years) {
      const length = Math.min(years[1] - years[0] + 1, MOST_YEARS);
      fields.years = Array.from({ length }, (_, year) => String(years[0] + year));
    }
    for (const word of new Set(Object.values(fields).flat())) vocabulary.set(word, (vocabulary.get(word) || 0) + 1);
    for (const [field, row] of Object.entries(fields)) if (field !== "said") row.forEach((word) => proper.add(word));
    return Object.fromEntries(Object.entries(fields).map(([field, row]) => [field, row.join(" ")]));
  };

  /** @param {string} text */
  const apart = (text) => (text ? text.split(" ") : []);
  const index = new Library({
    idField: "row",
    fields: Object.keys(data.weights),
    tokenize: apart,
    processTerm: (term) => term,
    searchOptions: { boost: data.weights, tokenize: (text) => [text] },
  });
  index.addAll(all.map((one, row) => ({ row, ...indexed(one) })));

  // What a word stands for ------------------------------------------------------------------------------------------------

  /** Letters more, less, wrong, or two neighbors swapped; `most` + 1 when there are more. @param {string} a @param {string} b @param {number} most */
  const mistakes = (a, b, most) => {
    if (Math.abs(a.length - b.length) > most) return most + 1;
    let older = /** @type {number[]} */ ([]), last = Array.from({ length: b.length + 1 }, (_, j) => j);
    for (let i = 1; i <= a.length; i++) {
      const now = [i];
      for (let j = 1; j <= b.length; j++) {
        const same = a[i - 1] === b[j - 1];
        let least = Math.min((last[j] ?? 0) + 1, (now[j - 1] ?? 0) + 1, (last[j - 1] ?? 0) + (same ? 0 : 1));
        if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) least = Math.min(least, (older[j - 2] ?? 0) + 1);
        now.push(least);
      }
      older = last;
      last = now;
    }
    return last[b.length] ?? most + 1;
  };

  /** The words this one may be a misspelling of: the fewest mistakes first, then the commonest. @param {string} word */
  const near = (word) => {
    const most = (MISTAKES.find(([length]) => word.length >= (length ?? 0)) || [0, 0])[1] ?? 0;
    if (!most) return [];
    return [...vocabulary.keys()]
      .map((one) => ({ one, wrong: one === word ? most + 1 : mistakes(word, one, most) }))
      .filter(({ wrong }) => wrong <= most)
      .sort((a, b) => a.wrong - b.wrong || (vocabulary.get(b.one) ?? 0) - (vocabulary.get(a.one) ?? 0) || (a.one < b.one ? -1 : 1))
      .slice(0, MOST_OTHERS);
  };

  /** @param {string} word */
  const singular = (word) => ["s", "es"].filter((ending) => word.endsWith(ending) && word.length > ending.length + 1).map((ending) => word.slice(0, -ending.length));

  /** What a joined word is joined of; nothing for a number, unless it is years. @param {string} word */
  const inside = (word) => {
    const found = pieces(word).slice(1).map((piece) => piece.text);
    return found.every((one) => /^\d{4}$/.test(one)) || !hasDigit(word) ? found : [];
  };

  /** {word of the record: weight}. @param {string} word */
  const alternatives = (word) => {
    /** @type {Map<string, number>} */
    const found = new Map();
    const begun = word.length > 1 ? [...vocabulary.keys()].filter((one) => one.startsWith(word) && one !== word) : [];
    begun.sort((a, b) => a.length - b.length || (a < b ? -1 : 1));
    for (const one of begun.slice(0, MOST_OTHERS)) found.set(one, (BEGINS * word.length) / one.length);
    for (const one of singular(word)) if (vocabulary.has(one)) found.set(one, PLURAL);
    if (vocabulary.has(word)) found.set(word, 1);
    else if (!hasDigit(word)) {
      const any = found.size > 0;
      for (const { one, wrong } of near(word)) if ((wrong === 1 || !any) && !found.has(one)) found.set(one, MISSPELLED / wrong);
    }
    return found;
  };

  /** What a word stands for, all of the list wanted, and what besides counts for more. @param {string} word @returns {Meant} */
  const meant = (word) => {
    const pieces = inside(word);
    const each = (pieces.length ? pieces : [word]).map(alternatives);
    return { each: each.every((one) => one.size) ? each : [], whole: pieces.length ? alternatives(word) : new Map() };
  };

  /** The query with each word that nobody used replaced by one it may be a misspelling of. @param {string} text */
  const suggested = (text) => {
    const known = [...vocabulary.keys()];
    const unused = words(text).filter(({ text: word }) => !known.some((one) => one.startsWith(word)));
    const open = unused.filter(({ text: word }) => {
      const joined = inside(word);
      const exact = joined.length > 0 && joined.every((one) => vocabulary.has(one));
      return !exact && !singular(word).some((one) => vocabulary.has(one));
    });
    const choices = open.map((word) => ({ word, other: near(word.text).map(({ one }) => one).filter((one) => proper.has(one)) })).filter(({ other }) => other.length);
    const [first, ...rest] = choices;
    if (!first) return [];
    /** @param {string} choice */
    const replaced = (choice) => {
      const changes = [{ word: first.word, other: [choice] }, ...rest].reverse();
      return changes.reduce((now, { word, other }) => now.slice(0, word.start) + other[0] + now.slice(word.end), text).trim().split(/\s+/).join(" ");
    };
    return [...new Set(first.other.slice(0, rest.length ? 1 : MOST_SUGGESTIONS).map(replaced))];
  };

  // What is found ---------------------------------------------------------------------------------------------------------

  /** How a record is named by a query that went through `spelled`; see the head of kb/documents.py. @param {SearchDocument} one @param {string} query */
  const rank = ({ id, numbers, markings, texts }, query) => {
    const plainNumbers = numbers.map(spelled), plainMarkings = markings.map(spelled);
    if (plainNumbers.includes(query)) return 0;
    if (query === id || query === spelled(texts.name?.[0] || "")) return 1;
    if (plainMarkings.includes(query)) return 2;
    if (numbers.map(squeezed).includes(squeezed(query))) return NAMED_RANK;
    const within = " " + query + " ";
    if (plainNumbers.some((number) => within.includes(" " + number + " "))) return 4;
    return plainMarkings.some((marking) => hasDigit(marking) && within.includes(" " + marking + " ")) ? 5 : LAST_RANK;
  };

  /** @param {Meant[]} asked @param {"AND" | "OR"} how */
  const scored = (asked, how) => index.search({ combineWith: how, queries: asked.map(ofWord) });

  /** The query for what one asked word stands for. @param {Meant} meant @returns {Combined} */
  const ofWord = ({ each, whole }) => ({
    combineWith: "OR",
    queries: [{ combineWith: "AND", queries: each.map(anyOf) }, ...(whole.size ? [anyOf(whole)] : [])],
  });

  /** @param {Map<string, number>} options @returns {Combined} */
  const anyOf = (options) => ({ combineWith: "OR", queries: [...options.keys()], boostTerm: (term) => options.get(term) ?? 1 });

  /** {word of the record: what of the query it stands for}. @param {Meant[]} asked */
  const meaningOf = (asked) => {
    /** @type {Map<string, Set<string>>} */
    const found = new Map();
    /** @param {string} word @param {string} what */
    const add = (word, what) => found.set(word, (found.get(word) || new Set()).add(what));
    asked.forEach(({ each, whole }, at) => {
      each.forEach((options, piece) => {
        for (const word of [...options.keys(), ...whole.keys()]) add(word, at + "/" + piece);
      });
    });
    return found;
  };

  /** @param {Word} word @param {Map<string, Set<string>>} meaning @returns {Iterable<string>} */
  const standsFor = (word, meaning) => meaning.get(word.text) || meaning.get(squeezed(word.text)) || [];

  /** The fields that have any of the words, with them marked; none that say nothing more. @param {SearchDocument} one @param {Map<string, Set<string>>} meaning */
  const shown = (one, meaning) => {
    /** @type {Shown[]} */
    const found = [];
    /** @type {Set<string>} */
    const told = new Set();
    for (const [field, texts] of Object.entries(one.texts)) {
      const having = texts.map((text) => ({ text, seen: pieces(text).flatMap((word) => [...standsFor(word, meaning)]) })).filter(({ seen }) => seen.length);
      const seen = having.flatMap((text) => text.seen);
      if (seen.some((what) => !told.has(what)) && found.length < MOST_FIELDS) {
        found.push(around(field, having.map(({ text }) => text).join("; "), meaning));
        seen.forEach((what) => told.add(what));
      }
    }
    return found;
  };

  /** A text with the words marked; of a long one what is around the first. @param {string} field @param {string} text @param {Map<string, Set<string>>} meaning @returns {Shown} */
  const around = (field, text, meaning) => {
    /** @type {[number, number][]} */
    const spans = [];
    for (const word of pieces(text)) {
      const last = spans[spans.length - 1];
      if ([...standsFor(word, meaning)].length && !(last && word.start < last[1])) spans.push([word.start, word.end]);
    }
    const [from, to] = spans[0] || [0, 0];
    let start = text.length > SHOWN ? Math.max(0, from - BEFORE) : 0;
    start = start ? text.lastIndexOf(" ", start - 1) + 1 : 0;
    const cut = text.lastIndexOf(" ", start + SHOWN - 1);
    const end = text.length - start <= SHOWN ? text.length : Math.max(cut < start ? -1 : cut, to);
    const before = start ? "… " : "", after = end < text.length ? " …" : "";
    const shift = before.length - start;
    return {
      field,
      text: before + text.slice(start, end) + after,
      marks: spans.filter(([, b]) => b <= end).map(([a, b]) => [a + shift, b + shift]),
    };
  };

  /**
   * The records that have every word, else those that have any; the best first.
   * @param {string} text
   * @param {string} kind  only this kind of record, if not empty
   * @param {number} limit
   * @returns {Found}
   */
  const search = (text, kind, limit) => {
    const asked = [...new Set(words(text).map((word) => word.text))].map(meant);
    if (!asked.length) return { hits: [], count: 0, allWords: true, suggestions: [] };
    let allWords = asked.every(({ each }) => each.length);
    /** @param {{id: number}} one */
    const wanted = (one) => !kind || data.kinds[all[one.id]?.kind ?? -1] === kind;
    let found = allWords ? scored(asked, "AND").filter(wanted) : [];
    if (!found.length && asked.length > 1) {
      allWords = false;
      found = scored(asked.filter(({ each }) => each.length), "OR").filter(wanted);
    }
    const suggestions = suggested(text);
    const query = spelled(suggestions[0] ?? text);
    const ordered = found
      .flatMap(({ id, score }) => (all[id] ? [{ id, score, one: all[id], level: rank(all[id], query) }] : []))
      .sort((a, b) => a.level - b.level || (a.level > NAMED_RANK ? b.score - a.score : 0) || a.id - b.id);
    const meaning = meaningOf(asked);
    const hits = ordered.slice(0, limit).map(({ one, score }) => {
      const { id, href, years, texts } = one;
      return { kind: data.kinds[one.kind] || "", id, name: texts.name?.[0] || "", href, years: years ? span(years) : "", score, where: shown(one, meaning) };
    });
    return { hits, count: found.length, allWords, suggestions };
  };

  return { search, words, spelled };
}
