/**
 * One identification: the answers so far in order, what they mean together, and what to ask next.
 *
 * Knows arrays and readings, no records and no page. Answers can be taken back, changed, and asked again.
 */

import { label, looks, NOT_IN_THE_RECORD, SAME } from "./arrays.js";
import { changedShare } from "./belief.js";
import { Concluded, sums } from "./concluded.js";
import { any, float, int, largest, one, range, rounded } from "./matrix.js";
import { best } from "./plan.js";
import {
  alikeTogether,
  anotherLook,
  namedStates,
  news,
  NO_NEWS,
  originalNews,
  outcomeChances,
  whole,
  yesNo,
} from "./questions.js";

/**
 * @typedef {import("./answered.js").Ask} Ask
 * @typedef {import("./answered.js").Options} Options
 * @typedef {import("./answered.js").Target} Target
 * @typedef {import("./arrays.js").Compiled} Compiled
 * @typedef {import("./arrays.js").Trait} Trait
 * @typedef {import("./belief.js").Evidence} Evidence
 * @typedef {import("./plan.js").Game} Game
 * @typedef {import("./questions.js").Question} Question
 * @typedef {import("./reading.js").Reading} Reading
 */

/** The plan is made over so many of the most valuable questions, and so many candidates. */
export const MOST_QUESTIONS = 40;
export const MOST_CANDIDATES = 300;
/** A slot whose chance of having been changed is this far from 0 and from 1 is in doubt. */
export const IN_DOUBT = 0.15;
/** Bits that another look must promise. */
export const WORTH_A_LOOK = 0.05;
/** Candidates with less than this share of the leader's belief are left out of the plan. */
export const RARE = 1e-4;

/** A question with its expected news in bits and the effort of its view; `value` is the one for the other. */
export class Proposal {
  /**
   * @param {Question} question
   * @param {number} bits
   * @param {number} effort
   */
  constructor(question, bits, effort) {
    this.question = question;
    this.bits = bits;
    this.effort = effort;
  }

  /** Bits for a unit of effort. */
  get value() {
    return this.bits / this.effort;
  }
}

/**
 * A session without answers.
 * @param {Compiled} compiled
 * @param {{views?: readonly string[] | null, target?: Target, ask?: Ask}} [options] views by their ids, where there are such;
 *   null: all
 * @returns {Session}
 */
export function start(compiled, options = {}) {
  const known = options.views?.map((view) => compiled.views.indexOf(view)).filter((view) => view >= 0);
  return new Session(compiled, { ...options, views: known ?? null });
}

/** An immutable state; every change returns a new one. What it means is worked out when it is first asked for, and kept. */
export class Session extends Concluded {
  /**
   * The traits that can still be asked: in a view at hand, of a family that leads, not settled or given up.
   * @returns {number[]}
   */
  get openTraits() {
    return this.once("openTraits", () => {
      const open = (/** @type {Reading} */ { kind }) => kind === "seen" || kind === "between";
      const givenUp = new Set(this.given.filter(({ reading }) => !open(reading)).map(({ trait }) => trait));
      return this.visible.filter((t) => !givenUp.has(t) && (this.sortUnclear || this.leads(one(this.compiled.traits, t))));
    });
  }

  /**
   * Whether what is looked at most likely has such a thing, as far as its family goes.
   * @param {Trait} trait
   * @returns {boolean}
   */
  leads(trait) {
    const { families, slots, familyLeads } = this.compiled;
    const family = trait.family === null ? -1 : families.indexOf(trait.family);
    if (family >= 0) return float(this.familyShares, family) >= familyLeads - SAME;
    return !one(slots, trait.slot).parts.length || largest(this.familyShares) >= familyLeads - SAME;
  }

  /**
   * Whether the one question that tells the family outright could not be answered: then all families are asked about.
   * @returns {boolean}
   */
  get sortUnclear() {
    return this.given.some(({ trait, reading }) => reading.kind === "cannot-tell" && one(this.compiled.traits, trait).atOnce);
  }

  /**
   * The belief in each family.
   * @returns {Float64Array}
   */
  get familyShares() {
    return this.once("familyShares", () =>
      sums(this.compiled.family, this.belief.probability, this.compiled.families.length),
    );
  }

  /**
   * Every question that is still open.
   * @returns {Question[]}
   */
  get questions() {
    return this.once("questions", () => {
      const left = new Map(this.evidence.filter(({ seen }) => seen).map((answer) => [answer.trait, answer]));
      return this.openTraits.flatMap((t) => {
        const said = left.get(t) ?? null;
        return this.forms(t, said).filter((question) => isOpen(question, said));
      });
    });
  }

  /**
   * The ways to ask for a trait: a marking is always read; all at once where that is wished and nothing was said yet.
   * @param {number} t
   * @param {Evidence | null} left
   * @returns {Question[]}
   */
  forms(t, left) {
    const trait = one(this.compiled.traits, t);
    if (trait.worn || trait.atOnce) return left ? [] : [whole(this.compiled, t)];
    const wanted = !left && this.ask === "any" && (trait.measured || namedStates(trait) > 2);
    return [...yesNo(this.compiled, t), ...(wanted ? [whole(this.compiled, t)] : [])];
  }

  /**
   * The open questions with news in them, by news for effort, best first; ties by the order of traits and states.
   * @returns {Proposal[]}
   */
  get proposals() {
    return this.once("proposals", () => this.withNews(this.questions));
  }

  /**
   * The answers that another look would tell something about, by news for effort, best first; nobody is asked thrice.
   * @returns {Proposal[]}
   */
  get secondLooks() {
    return this.once("secondLooks", () => {
      const again = this.lookedAtOnce.filter(({ trait, value }) => value && this.lookingWrong.has(trait));
      const found = [...this.withNews(this.otherLooks), ...again.map((given) => this.measureAgain(given))];
      return found.filter(({ bits }) => bits >= WORTH_A_LOOK).sort(byValue);
    });
  }

  /**
   * Another look at every answer in the views at hand that was looked at once.
   * @returns {Question[]}
   */
  get otherLooks() {
    return this.once("otherLooks", () => this.lookedAtOnce.flatMap((given) => anotherLook(this.compiled, given) ?? []));
  }

  /** @returns {Evidence[]} */
  get lookedAtOnce() {
    return this.evidence.filter(({ trait }) => this.visible.includes(trait) && !this.looksAt(trait));
  }

  /** @returns {Set<number>} */
  get lookingWrong() {
    return new Set(this.doubts.filter(({ looksWrong }) => looksWrong).map(({ trait }) => trait));
  }

  /**
   * A value that looks like a blunder, measured once more: if it is one, the new value tells what the first should have.
   * @param {Evidence} given
   * @returns {Proposal}
   */
  measureAgain(given) {
    const mine = this.doubts.filter(({ trait }) => trait === given.trait);
    const blunder = Math.max(...mine.map(({ chance }) => chance));
    const others = this.with({ given: this.given.filter(({ trait }) => trait !== given.trait) });
    const question = whole(this.compiled, given.trait);
    return new Proposal(question, blunder * float(others.news([question]), 0), this.effort(question));
  }

  /**
   * @param {readonly Question[]} questions
   * @returns {Proposal[]}
   */
  withNews(questions) {
    return this.valued(questions, this.news(questions), NO_NEWS);
  }

  /**
   * The questions with at least so much news, by news for effort, best first.
   * @param {readonly Question[]} questions
   * @param {Float64Array} news
   * @param {number} least
   * @returns {Proposal[]}
   */
  valued(questions, news, least) {
    return questions
      .flatMap((question, q) => (float(news, q) >= least ? [new Proposal(question, float(news, q), this.effort(question))] : []))
      .sort(byValue);
  }

  /**
   * The view one is looking at now: that of the last answer; -1 for none.
   * @returns {number}
   */
  get lookingAt() {
    const last = this.given.at(-1);
    return last ? one(this.compiled.traits, last.trait).view : -1;
  }

  /**
   * What a question takes: a glance where one is looking already (`there`), else the effort of its view; and its form's.
   * @param {Question} question
   * @param {boolean} [there]
   * @returns {number}
   */
  effort(question, there) {
    const { view } = one(this.compiled.traits, question.trait);
    const effort = view >= 0 ? float(this.compiled.effort, view) : 1;
    const glance = there ?? view === this.lookingAt;
    return (glance ? Math.min(effort, 1) : effort) + (this.compiled.asking[question.form] ?? 0);
  }

  /**
   * @param {readonly Question[]} questions
   * @returns {Float64Array}
   */
  news(questions) {
    const { compiled, belief, evidence } = this;
    if (!questions.length || !belief.plausible) return new Float64Array(questions.length);
    if (this.target === "original") return originalNews(compiled, belief, questions, evidence);
    const bits = news(compiled, belief, questions, this.groups, evidence);
    if (this.target !== "all") return bits;
    const original = originalNews(compiled, belief, questions, evidence);
    return bits.map((found, q) => found + float(original, q));
  }

  // What to ask --------------------------------------------------------------------------------------------------------

  /**
   * The new question to ask, or null when the target is settled or nothing left to ask would change it.
   * For the variant and the set of origin it is planned ahead; for what is original it is the one with the most news.
   * @returns {Proposal | null}
   */
  get next() {
    return this.once("next", () => {
      if (this.settled || !this.proposals.length) return null;
      const game = this.target === "variant" || this.target === "set" ? this.game : null;
      return one(this.proposals, game ? best(game) : 0);
    });
  }

  /**
   * The answer to look at once more: one that looks wrong, where that tells more than any new question for its effort;
   * or, when there is nothing new to ask, the one that tells most.
   * @returns {Proposal | null}
   */
  get lookAgain() {
    return this.once("lookAgain", () => {
      const [first] = this.settled ? [] : this.secondLooks;
      if (!first) return null;
      const [asked] = this.proposals;
      if (!asked) return first;
      const wrong = this.secondLooks.find(({ question }) => this.lookingWrong.has(question.trait));
      return wrong && wrong.value > asked.value + SAME ? wrong : null;
    });
  }

  /**
   * What to ask a person now: another look where that is the best use of a question, the next new one, or of a swap.
   * @returns {Proposal | null}
   */
  get toAsk() {
    return this.lookAgain ?? this.next ?? this.doubtfulSwap;
  }

  /**
   * Once the variant is settled: what tells most whether a part that was looked at was changed, where that is in doubt.
   * @returns {Proposal | null}
   */
  get doubtfulSwap() {
    return this.once("doubtfulSwap", () => {
      if (this.target !== "variant" || !this.settled) return null;
      const { compiled, belief, evidence } = this;
      const slotOf = (/** @type {{trait: number}} */ { trait }) => one(compiled.traits, trait).slot;
      const doubtful = [...new Set(evidence.map(slotOf))].filter((s) => {
        const share = changedShare(compiled, belief, s);
        return IN_DOUBT - SAME <= share && share <= 1 - IN_DOUBT + SAME;
      });
      const asked = [...this.questions, ...this.otherLooks].filter((question) => doubtful.includes(slotOf(question)));
      return this.valued(asked, originalNews(compiled, belief, asked, evidence, true), WORTH_A_LOOK)[0] ?? null;
    });
  }

  /**
   * What is left to find out, over the best proposals in their order and the candidates that are not too rare.
   * Null when there are too many of those, or nothing to tell.
   * @returns {Game | null}
   */
  get game() {
    return this.once("game", () => {
      const { probability } = this.belief;
      const least = RARE * largest(probability);
      /** @type {number[]} */
      const live = [];
      for (let c = 0; c < probability.length; c++) if (float(probability, c) > least) live.push(c);
      if (live.length < 2 || live.length > MOST_CANDIDATES) return null;
      const questions = this.proposals.slice(0, MOST_QUESTIONS).map(({ question }) => question);
      const chances = outcomeChances(this.compiled, this.belief, questions, live, this.evidence);
      const together = alikeTogether(
        Float64Array.from(live, (c) => float(probability, c)),
        numbered(live.map((c) => int(this.planGroups, c))),
        chances,
      );
      if (!any(together.group)) return null;
      return {
        ...together,
        view: questions.map(({ trait }) => one(this.compiled.traits, trait).view),
        there: Float64Array.from(questions, (question) => this.effort(question, false)),
        here: Float64Array.from(questions, (question) => this.effort(question, true)),
        at: this.lookingAt,
        settled: this.compiled.settled,
        kin: questions.map(({ trait }) => this.kinOf(trait)),
      };
    });
  }

  /**
   * Traits of one part are read off one thing; any other trait stands for itself.
   * @param {number} t
   * @returns {number}
   */
  kinOf(t) {
    const { slot } = one(this.compiled.traits, t);
    return one(this.compiled.slots, slot).parts.length ? -1 - slot : t;
  }

  /** @returns {Int32Array} */
  get planGroups() {
    return this.target === "set" ? this.groups : this.twinGroups;
  }

  /**
   * Views that are not at hand and would separate what cannot be told apart now.
   * @returns {number[]}
   */
  get wantedViews() {
    return this.once("wantedViews", () => {
      const group = new Set(this.inseparable);
      const mine = range(this.compiled.candidates).filter((c) => group.has(label(this.compiled, c)));
      const views = new Set();
      looks(this.compiled).forEach((look, t) => {
        const { asked, view } = one(this.compiled.traits, t);
        const apart = new Set(mine.map((c) => int(look, c))).size > 1;
        if (asked && apart && view >= 0 && !this.visible.includes(t)) views.add(view);
      });
      return [...views].sort((a, b) => a - b);
    });
  }

  /**
   * Variants that cannot be told apart now: the leader's twins, or all that are left when nothing more can be asked.
   * @returns {string[]}
   */
  get inseparable() {
    return this.once("inseparable", () => {
      const [group] = this.leading;
      if (this.settled || this.proposals.length) {
        return group.length > 1 && this.variants[0]?.[0] !== NOT_IN_THE_RECORD ? group : [];
      }
      /** @type {string[]} */
      const found = [];
      let total = 0;
      for (const [name, chance] of this.variants) {
        if (total >= this.compiled.settled - SAME) break;
        total += chance;
        if (name !== NOT_IN_THE_RECORD) found.push(name);
      }
      return found.length > 1 ? found : [];
    });
  }
}

/**
 * Whether an answer could still be yes or no after what was said of the trait; not after a second look.
 * @param {Question} question
 * @param {Evidence | null} evidence
 * @returns {boolean}
 */
function isOpen({ cut, outcomes }, evidence) {
  if (!evidence) return true;
  if (evidence.again.length) return false;
  const { interval, weights } = evidence;
  if (cut !== null) return interval !== null && interval[0] < cut && cut < interval[1];
  if (weights === null || evidence.typed) return false;
  return outcomes.slice(0, 2).every((outcome) => outcome.some((k) => float(weights, k)));
}

/**
 * The best first; those of the same value as they are listed.
 * @param {Proposal} a
 * @param {Proposal} b
 * @returns {number}
 */
function byValue(a, b) {
  return rounded(b.value) - rounded(a.value);
}

/**
 * Groups numbered from 0 without gaps, in their order.
 * @param {readonly number[]} groups
 * @returns {Int32Array}
 */
function numbered(groups) {
  const order = [...new Set(groups)].sort((a, b) => a - b);
  const number = new Map(order.map((group, n) => [group, n]));
  return Int32Array.from(groups, (group) => number.get(group) ?? 0);
}
