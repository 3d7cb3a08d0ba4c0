/** What is worked out once for a thing and kept with it. */

/**
 * What is kept under a key, made where nothing is.
 * @template K, V
 * @param {{get(key: K): V | undefined, set(key: K, value: V): unknown}} kept
 * @param {K} key
 * @param {() => V} make
 * @returns {V}
 */
export function keptFor(kept, key, make) {
  let found = kept.get(key);
  if (found === undefined) {
    found = make();
    kept.set(key, found);
  }
  return found;
}
