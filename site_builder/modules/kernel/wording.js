/** Arrays back to words: the name of a trait, the text of a question, a level of confidence. As `identify/wording.py`. */

import { MISSING, NOT_IN_THE_RECORD } from "./arrays.js";
import { fixed, general, rounded, sorted } from "./written.js";

/**
 * What `site_builder/packed_words.py` writes. Lists stand in the order of `Compiled`.
 *
 * @typedef {object} PackedTrait
 * @property {string} name
 * @property {string} [look] where to look
 * @property {boolean} [marking] one reads and types it
 * @property {string} [unit] of a measured trait, which has one even where it is empty
 * @property {string[]} [states] the names of its states, in the order of the arrays, without "missing"
 * @property {(string | null)[]} [asks] the questions for its states
 *
 * @typedef {object} PackedPart
 * @property {string} name
 * @property {[number, number]} [made] first and last year
 * @property {string} [reproducedBy] who makes this reproduction; empty where that is not recorded; absent of any other part
 *
 * @typedef {object} PackedSet
 * @property {string} name
 * @property {number[][]} positions the variants of each position, as places in `variants` and behind those in `others`
 *
 * @typedef {object} PackedWords
 * @property {{ name: string, slots: number[] }[]} families with the slots that units of it can have, by index
 * @property {string[]} slots
 * @property {string[]} views
 * @property {(PackedTrait | null)[]} traits null of a bare slot: which part sits there
 * @property {Record<string, PackedPart>} parts every part that may sit somewhere
 * @property {string[]} variants
 * @property {([number, number] | null)[]} made first and last year of each variant; null: not recorded
 * @property {number[][]} silent the slots of each variant with a part that nobody recorded
 * @property {[string, string][]} others [id, name] of variants of other families that sets hold
 * @property {PackedSet[]} sets
 *
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./reading.js").Reading} Reading
 * @typedef {import("./questions.js").Question} Question
 */

/** The words of one compiled knowledge base. */
export class Words {
  /** What a candidate is called: a unit is of a variant. */
  noun = "variant";
  /** What is looked at. */
  thing = "unit";
  /** What stands between a family and its trait where an answers file must say both. */
  joint = "/";
  /** That there is nothing to look at. */
  gone = MISSING;

  /**
   * @param {Compiled} compiled
   * @param {PackedWords} packed
   */
  constructor(compiled, packed) {
    this.compiled = compiled;
    this.packed = packed;
    /** @type {Map<string, number>} */
    const same = new Map();
    for (const trait of compiled.traits) {
      same.set(trait.id, (same.get(trait.id) ?? 0) + 1);
    }
    /** How an answers file names each trait: its id, with the family where several have one of that name. */
    this.keys = compiled.traits.map((trait) =>
      (same.get(trait.id) ?? 0) > 1 && trait.family !== null ? `${trait.family}${this.joint}${trait.id}` : trait.id,
    );
    /** The trait that a key names. */
    this.at = new Map(this.keys.map((key, t) => [key, t]));
    /** The index of each slot. */
    this.slotAt = new Map(compiled.slots.map((slot, s) => [slot.id, s]));
    /** The index of each variant; those of other families that sets hold come behind the compiled ones. */
    this.variantAt = new Map([...compiled.variants, ...packed.others.map(([ident]) => ident)].map((ident, v) => [ident, v]));
    /** @type {Map<string, number>} how many traits of parts have one name */
    this.shorts = new Map();
    for (const trait of compiled.traits) {
      for (let dot = trait.id.indexOf("."); dot >= 0; dot = trait.id.indexOf(".", dot + 1)) {
        const short = trait.id.slice(dot + 1);
        this.shorts.set(short, (this.shorts.get(short) ?? 0) + 1);
      }
    }
  }

  /**
   * The record of a trait; null for a bare slot.
   * @param {number} t
   * @returns {PackedTrait | null}
   */
  record(t) {
    return this.packed.traits[t] ?? null;
  }

  /**
   * @param {number} t
   * @returns {Trait}
   */
  traitAt(t) {
    return /** @type {Trait} */ (this.compiled.traits[t]);
  }

  /**
   * The states that a trait names: all but "missing".
   * @param {number} t
   * @returns {string[]}
   */
  named(t) {
    return this.traitAt(t).states.filter((state) => state !== MISSING);
  }

  /**
   * The name of a slot.
   * @param {string} slot
   * @returns {string}
   */
  slot(slot) {
    return this.packed.slots[this.slotAt.get(slot) ?? -1] ?? slot;
  }

  /**
   * The slot that a trait is read from.
   * @param {number} t
   */
  slotOf(t) {
    return /** @type {import("./arrays.js").Slot} */ (this.compiled.slots[this.traitAt(t).slot]);
  }

  /**
   * How an answers file names the trait.
   * @param {number} t
   * @returns {string}
   */
  key(t) {
    return this.keys[t] ?? "";
  }

  /**
   * The name of a trait, with its part's slot where it has one.
   * @param {number} t
   * @returns {string}
   */
  trait(t) {
    const record = this.record(t);
    const slot = this.slotOf(t);
    if (record === null) {
      return this.slot(slot.id);
    }
    return slot.parts.length ? `${this.slot(slot.id)}: ${lowerFirst(record.name)}` : record.name;
  }

  /**
   * The name of a state.
   * @param {number} t
   * @param {string} state
   * @returns {string}
   */
  state(t, state) {
    const record = this.record(t);
    if (record === null) {
      return this.part(state);
    }
    const k = record.states && state !== MISSING ? this.traitAt(t).states.indexOf(state) : -1;
    return record.states?.[k] ?? state;
  }

  /**
   * The name of a part.
   * @param {string} part
   * @returns {string}
   */
  part(part) {
    const record = Object.hasOwn(this.packed.parts, part) ? this.packed.parts[part] : undefined;
    if (record) {
      return record.name;
    }
    return part === "none" ? "nothing there" : part === "unlisted" ? "a part nobody recorded" : part;
  }

  /**
   * The name of a variant.
   * @param {string} ident
   * @returns {string}
   */
  variant(ident) {
    if (ident === NOT_IN_THE_RECORD) {
      return "Not in the record";
    }
    const v = this.variantAt.get(ident) ?? -1;
    return this.packed.variants[v] ?? this.packed.others[v - this.packed.variants.length]?.[1] ?? ident;
  }

  /**
   * The id of a variant by its place among all that are compiled, and behind those of other families.
   * @param {number} v
   * @returns {string}
   */
  identOf(v) {
    return this.compiled.variants[v] ?? this.packed.others[v - this.compiled.variants.length]?.[0] ?? "";
  }

  /** What could tell candidates apart that no recorded trait tells apart. */
  otherwise() {
    return "It would take evidence outside the record: the carton, a dated receipt, or somebody who opened the box.";
  }

  /**
   * The slots (by index) of a variant with a part that nobody recorded, neither for it nor for a place in a set.
   * @param {string} ident
   * @returns {number[]}
   */
  unrecordedSlots(ident) {
    return this.packed.silent[this.variantAt.get(ident) ?? -1] ?? [];
  }

  /**
   * The unit of a measured trait.
   * @param {number} t
   * @returns {string}
   */
  unit(t) {
    return this.record(t)?.unit ?? "";
  }

  /**
   * The text of a question, in the words of its form.
   * @param {Question} question
   * @returns {string}
   */
  ask(question) {
    const name = this.trait(question.trait);
    if (question.form === "choice") {
      return `${name}: which is it?`;
    }
    if (question.form === "value") {
      const unit = this.unit(question.trait);
      return `${name}: how much is it${unit ? `, in ${unit}` : ""}?`;
    }
    if (question.form === "reading") {
      return `${name}: what can be read?`;
    }
    if (question.cut !== null) {
      return `${name}: is it more than ${this.cut(question)}?`;
    }
    return question.form === "again" ? `Look again: ${lowerFirst(this.whether(question))}` : this.whether(question);
  }

  /**
   * Whether the trait is in one of the states of the question's first outcome.
   * @param {Question} question
   * @returns {string}
   */
  whether(question) {
    const t = question.trait;
    const record = this.record(t);
    const trait = this.traitAt(t);
    const states = (question.outcomes[0] ?? []).map((k) => trait.states[k] ?? "");
    const name = this.trait(t);
    const [state = ""] = states;
    if (states.length > 1) {
      return `${name}: is it ${lowerFirst(this.states(t, states, this.named(t)))}?`;
    }
    const written = (state !== MISSING && record?.asks?.[trait.states.indexOf(state)]) || null;
    const slot = this.slotOf(t);
    if (written && slot.parts.length && (this.shorts.get(trait.id.slice(trait.id.indexOf(".") + 1)) ?? 0) > 1) {
      return `${this.slot(slot.id)}: ${lowerFirst(written)}`;
    }
    if (written) {
      return written;
    }
    if (record?.marking) {
      return `${name}: does it read "${state}"?`;
    }
    return `${name}: is it ${lowerFirst(this.state(t, state))}?`;
  }

  /**
   * The value a measured trait is compared with.
   * @param {Question} question
   * @returns {string}
   */
  cut(question) {
    return `${general(question.cut ?? 0, 4)} ${this.unit(question.trait)}`.trim();
  }

  /**
   * Where to look.
   * @param {number} t
   * @returns {string | null}
   */
  look(t) {
    return this.record(t)?.look ?? null;
  }

  /**
   * The id of the view a trait needs.
   * @param {number} t
   * @returns {string | null}
   */
  view(t) {
    return this.compiled.views[this.traitAt(t).view] ?? null;
  }

  /**
   * The name of a view.
   * @param {string} view
   * @returns {string}
   */
  viewName(view) {
    return this.packed.views[this.compiled.views.indexOf(view)] ?? view;
  }

  /**
   * The name of a view for somebody who is asked to look there; empty where there is nothing to say.
   * @param {string | null} view
   * @returns {string}
   */
  where(view) {
    return view ? this.viewName(view).toLowerCase() : "";
  }

  /**
   * An answer in words.
   * @param {number} t
   * @param {Reading} reading
   * @returns {string}
   */
  reading(t, reading) {
    const unit = this.unit(t);
    switch (reading.kind) {
      case "gone":
        return this.gone;
      case "cannot-tell":
        return "cannot tell";
      case "typed":
        return `reads "${reading.text}"`;
      case "measured": {
        const spread = reading.plusMinus ? ` +- ${general(reading.plusMinus, 2)}` : "";
        return `${general(reading.value, 5)}${spread} ${unit}`.trim();
      }
      case "between": {
        const low = Number.isFinite(reading.low) ? [`more than ${general(reading.low, 4)} ${unit}`.trim()] : [];
        const high = Number.isFinite(reading.high) ? [`less than ${general(reading.high, 4)} ${unit}`.trim()] : [];
        return [...low, ...high].join(" and ");
      }
      case "seen":
        return this.states(t, reading.states, this.named(t));
    }
  }

  /**
   * An answer in words that fit behind "were": of a marking, the text alone.
   * @param {number} t
   * @param {Reading} reading
   * @returns {string}
   */
  plain(t, reading) {
    if (reading.kind === "typed") {
      return `"${reading.text}"`;
    }
    if (reading.kind === "seen" && this.record(t)?.marking) {
      return sorted(reading.states)
        .map((state) => `"${state}"`)
        .join(" or ");
    }
    return this.reading(t, reading);
  }

  /**
   * A set of states in words: the states, or what they are not where that is shorter.
   * @param {number} t
   * @param {Iterable<string>} states
   * @param {string[]} named
   * @returns {string}
   */
  states(t, states, named) {
    const some = new Set(states);
    const left = named.filter((state) => !some.has(state));
    if (!some.size) {
      return "none that anybody recorded";
    }
    if (left.length < some.size && left.length && some.size > 1) {
      return `not ${left.map((state) => lowerFirst(this.state(t, state))).join(" nor ")}`;
    }
    const [first = "", ...more] = sorted(some).map((state) => this.state(t, state));
    return [first, ...more.map(lowerFirst)].join(" or ");
  }
}

/**
 * A named level for the leader's probability; it looks at the runner-up too. What each means: `confidence` in Python.
 * @param {number[]} shares best first
 * @param {number} settled
 * @returns {"settled" | "likely" | "leaning" | "open"}
 */
export function confidence(shares, settled) {
  const [first = 0, second = 0] = shares;
  if (first >= settled) {
    return "settled";
  }
  if (first >= 0.6 && first >= 3 * second) {
    return "likely";
  }
  return first >= 1.5 * second && first > 0 ? "leaning" : "open";
}

/**
 * A probability for people: never 0 % or 100 % when it is not.
 * @param {number} chance
 * @returns {string}
 */
export function percent(chance) {
  if (chance > 0 && chance < 0.005) {
    return "<1 %";
  }
  if (chance >= 0.995 && chance < 1) {
    return ">99 %";
  }
  return `${fixed(rounded(chance * 100, 9), 0)} %`;
}

/**
 * The names as one would say them: the first, the second and the third.
 * @param {string[]} names
 * @returns {string}
 */
export function together(names) {
  const all = names.slice(0, -1);
  return [...(all.length ? [all.join(", ")] : []), ...names.slice(-1)].join(" and ");
}

/**
 * The text with a small first letter, unless it starts with an abbreviation, or with a letter that stands for itself.
 * @param {string} text
 * @returns {string}
 */
export function lowerFirst(text) {
  const [first = "", second = ""] = text;
  if (/^\p{Uppercase}$/u.test(second) || (second === " " && first !== "A")) {
    return text;
  }
  return first.toLowerCase() + text.slice(first.length);
}
