/**
 * Mistakes between two words: the optimal string alignment distance, that is the least number of letters put in, left out, taken
 * for another, or two neighbors exchanged, where no stretch is changed twice (L. Boytsov, "Indexing methods for approximate
 * dictionary searching", ACM Journal of Experimental Algorithmics 16, 2011, section 2.1).  Equal to rapidfuzz's `OSA.distance`.
 */

/**
 * The distance, or `most` + 1 where it is more than `most`.
 * @param {string} one
 * @param {string} other
 * @param {number} [most]
 * @returns {number}
 */
export function mistakes(one, other, most = Infinity) {
  if (Math.abs(one.length - other.length) > most) return most + 1;
  /** @type {number[]} */
  let before = [], above = Array.from({ length: other.length + 1 }, (_, j) => j);
  for (let i = 1; i <= one.length; i++) {
    const row = [i];
    let least = i;
    for (let j = 1; j <= other.length; j++) {
      const same = one.charCodeAt(i - 1) === other.charCodeAt(j - 1);
      let best = Math.min((above[j] ?? 0) + 1, (row[j - 1] ?? 0) + 1, (above[j - 1] ?? 0) + (same ? 0 : 1));
      const crossed = i > 1 && j > 1 && one.charCodeAt(i - 1) === other.charCodeAt(j - 2) && one.charCodeAt(i - 2) === other.charCodeAt(j - 1);
      if (crossed) best = Math.min(best, (before[j - 2] ?? 0) + 1);
      row.push(best);
      if (best < least) least = best;
    }
    if (least > most && Math.min(...above) > most) return most + 1;
    before = above;
    above = row;
  }
  const found = above[other.length] ?? 0;
  return found > most ? most + 1 : found;
}
