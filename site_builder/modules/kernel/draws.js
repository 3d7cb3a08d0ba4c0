/**
 * The draws of Python's `random.Random`: the same numbers from the same seed.
 *
 * Matsumoto and Nishimura, "Mersenne Twister", ACM Transactions on Modeling and Computer Simulation 8(1), 1998, 3-30, in the
 * variant MT19937 with `init_by_array`; normal numbers as Box and Muller, Annals of Mathematical Statistics 29(2), 1958, 610-611.
 */

import { at } from "./matrix.js";

const SIZE = 624;
const BACK = 397;

/** A stream of draws. */
export class Draws {
  /** @param {number} seed a whole number from 0, below 2 to the 32nd */
  constructor(seed) {
    this.state = seeded(seed);
    this.next = SIZE;
    /** @type {number | null} */
    this.spare = null;
  }

  /** 32 random bits. */
  bits() {
    if (this.next === SIZE) {
      this.turn();
      this.next = 0;
    }
    let bits = at(this.state, this.next);
    this.next += 1;
    bits ^= bits >>> 11;
    bits ^= (bits << 7) & 0x9d2c5680;
    bits ^= (bits << 15) & 0xefc60000;
    return (bits ^ (bits >>> 18)) >>> 0;
  }

  /** The next 624 states. */
  turn() {
    const { state } = this;
    for (let i = 0; i < SIZE; i++) {
      const joined = (at(state, i) & 0x80000000) | (at(state, (i + 1) % SIZE) & 0x7fffffff);
      state[i] = at(state, (i + BACK) % SIZE) ^ (joined >>> 1) ^ (joined & 1 ? 0x9908b0df : 0);
    }
  }

  /** A number from 0 up to 1, with 53 random bits. */
  uniform() {
    const high = this.bits() >>> 5;
    return (high * 67108864 + (this.bits() >>> 6)) / 9007199254740992;
  }

  /** A number of the standard normal distribution. */
  normal() {
    const kept = this.spare;
    if (kept !== null) {
      this.spare = null;
      return kept;
    }
    const angle = this.uniform() * 2 * Math.PI;
    const radius = Math.sqrt(-2 * Math.log(1 - this.uniform()));
    this.spare = Math.sin(angle) * radius;
    return Math.cos(angle) * radius;
  }
}

/**
 * The first state of a seed.
 * @param {number} seed
 */
function seeded(seed) {
  const state = new Uint32Array(SIZE);
  state[0] = 19650218;
  for (let i = 1; i < SIZE; i++) {
    state[i] = Math.imul(1812433253, mixed(state, i)) + i;
  }
  let i = 1;
  for (let k = 0; k < SIZE; k++) {
    state[i] = (at(state, i) ^ Math.imul(mixed(state, i), 1664525)) + seed;
    i = following(state, i);
  }
  for (let k = 0; k < SIZE - 1; k++) {
    state[i] = (at(state, i) ^ Math.imul(mixed(state, i), 1566083941)) - i;
    i = following(state, i);
  }
  state[0] = 0x80000000;
  return state;
}

/**
 * What the state before a place gives to that place.
 * @param {Uint32Array} state
 * @param {number} i
 */
function mixed(state, i) {
  const before = at(state, i - 1);
  return before ^ (before >>> 30);
}

/**
 * The place behind one; at the end the last state goes to the front.
 * @param {Uint32Array} state
 * @param {number} i
 */
function following(state, i) {
  if (i + 1 < SIZE) {
    return i + 1;
  }
  state[0] = at(state, SIZE - 1);
  return 1;
}
