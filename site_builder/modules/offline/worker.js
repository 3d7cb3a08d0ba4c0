/**
 * Keeps the site on the machine, so that it works without a signal: what a browser calls a service worker.
 *
 * The builder puts in front of it what there is to keep (`site_builder/offline.py`), each file with its sum. Files of `first` are
 * kept before anything else, all of them or none; those of `rest` when a page says so, one after another. Whatever is kept is
 * answered from here, so that pages and scripts are always of one version; other pages are asked for, and kept as they are seen.
 * A new version has a cache of its own, takes over what has not changed, and the old one goes away as a whole.
 *
 * Pages say {do: "rest"}: keep all; {do: "now"}: take the place of the old version; {do: "count"}: answer what is kept.
 */

/**
 * @typedef {[string, string][]} Files address and sum, as `integrity` has it
 * @typedef {{version: string, first: Files, rest: Files}} Kept
 * @typedef {{version: string, first: boolean, kept: number, of: number}} Count whether the first are all there, how many files are
 */

/** Not a path of any site: the sums of what a cache holds. */
const SUMS = "-/sums.json";
/** Where a page leads that is not here when nobody can be asked. */
const NOT_HERE = "offline.html";
/** So many files are asked for at a time. */
const AT_A_TIME = 6;
/** Downloads, and records for programs: never kept. */
const NEVER = /^data\/|\.json$|^-\//;

const kept = tellmarkKept;
const worker = /** @type {WorkerScope} */ (/** @type {unknown} */ (globalThis));
const scope = new URL(worker.registration.scope);
const FAMILY = `tellmark ${scope.pathname} `;
/** The cache of this version. */
export const CACHE = FAMILY + kept.version;
const sums = new Map([...kept.first, ...kept.rest]);
/** @type {Promise<void> | null} */
let keepingRest = null;

/** @param {string} address */
const placeOf = (address) => new URL(address, scope).href;

/** The caches of other versions of this site. */
async function others() {
  return (await caches.keys()).filter((name) => name.startsWith(FAMILY) && name !== CACHE);
}

/**
 * A response without the mark that it was led elsewhere, which none that answers a page may carry.
 * @param {Response} response
 */
async function plain(response) {
  if (!response.redirected) return response;
  return new Response(await response.blob(), { status: response.status, statusText: response.statusText, headers: response.headers });
}

/** A file with just this sum, from its server. Throws TypeError where it has another one, or nobody answers. @param {string} address @param {string} sum */
async function fetched(address, sum) {
  const response = await fetch(placeOf(address), { integrity: sum, cache: "no-cache" });
  if (!response.ok) throw new TypeError(`${address}: ${response.status}`);
  return plain(response);
}

/**
 * Keeps files: those that an older version has with the same sum are taken from there.
 * @param {Files} files
 * @param {boolean} all whether one that cannot be had is an error
 */
async function keep(files, all) {
  const cache = await caches.open(CACHE);
  const before = await Promise.all((await others()).map(async (name) => olderOf(await caches.open(name))));
  const waiting = [...files];
  const work = async () => {
    for (let next = waiting.shift(); next; next = waiting.shift()) {
      const [address, sum] = next;
      if (await cache.match(placeOf(address))) continue;
      const same = await Promise.all(before.map((old) => (old.sums[address] === sum ? old.cache.match(placeOf(address)) : undefined)));
      try {
        await cache.put(placeOf(address), same.find(Boolean) ?? (await fetched(address, sum)));
      } catch (error) {
        if (all) throw error;
      }
    }
  };
  await Promise.all(Array.from({ length: AT_A_TIME }, work));
}

/** A cache with the sums of what it holds. @param {Cache} cache */
async function olderOf(cache) {
  const written = await cache.match(placeOf(SUMS));
  /** @type {Record<string, string>} */
  const sums = written ? await written.json() : {};
  return { cache, sums };
}

async function install() {
  await keep(kept.first, true);
  const cache = await caches.open(CACHE);
  await cache.put(placeOf(SUMS), new Response(JSON.stringify(Object.fromEntries(sums))));
}

async function activate() {
  // What of the old version is still good is taken over before it goes.
  await keepTaken();
  await Promise.all((await others()).map((name) => caches.delete(name)));
  await worker.clients.claim();
}

/** Takes over what the old version has of the rest with the same sum; nothing is asked for. */
async function keepTaken() {
  const cache = await caches.open(CACHE);
  for (const name of await others()) {
    const old = await olderOf(await caches.open(name));
    for (const [address, sum] of kept.rest) {
      if (old.sums[address] !== sum || (await cache.match(placeOf(address)))) continue;
      const found = await old.cache.match(placeOf(address));
      if (found) await cache.put(placeOf(address), found);
    }
  }
}

/** @returns {Promise<Count>} */
async function count() {
  const cache = await caches.open(CACHE);
  const there = new Set((await cache.keys()).map(({ url }) => url));
  /** @param {[string, string]} file */
  const has = ([address]) => there.has(placeOf(address));
  return { version: kept.version, first: kept.first.every(has), kept: [...kept.first, ...kept.rest].filter(has).length, of: sums.size };
}

/** The address below the root of the site; null for what is none of its files. @param {Request} request */
function addressOf({ method, url }) {
  const { origin, pathname } = new URL(url);
  if (method !== "GET" || origin !== scope.origin || !pathname.startsWith(scope.pathname)) return null;
  const address = decodeURI(pathname.slice(scope.pathname.length));
  return address === "" || address.endsWith("/") ? `${address}index.html` : address;
}

/** @param {FetchEvent} event @param {string} address */
async function answer({ request, waitUntil }, address) {
  const cache = await caches.open(CACHE);
  const sum = sums.get(address);
  const here = sum && (await cache.match(placeOf(address)));
  if (here) return here;
  try {
    const response = sum ? await fetched(address, sum).catch(() => null) : null;
    const asked = response ?? (await fetch(request));
    if (asked.ok && !NEVER.test(address) && (response || !sum)) waitUntil(cache.put(placeOf(address), await plain(asked.clone())));
    return asked;
  } catch (error) {
    const seen = await cache.match(placeOf(address));
    if (seen) return seen;
    if (request.mode !== "navigate") throw error;
    return Response.redirect(`${placeOf(NOT_HERE)}#${address}`);
  }
}

worker.addEventListener("install", (event) => event.waitUntil(install()));
worker.addEventListener("activate", (event) => event.waitUntil(activate()));
worker.addEventListener("fetch", (event) => {
  const address = addressOf(event.request);
  const { request } = event;
  if (address !== null) event.respondWith(answer(/** @type {FetchEvent} */ ({ request, waitUntil: event.waitUntil.bind(event) }), address));
});
worker.addEventListener("message", (event) => {
  if (event.data.do === "now") event.waitUntil(worker.skipWaiting());
  if (event.data.do === "count") event.waitUntil(count().then((found) => event.ports[0]?.postMessage(found)));
  if (event.data.do === "rest") {
    keepingRest ??= keep(kept.rest, false).finally(() => (keepingRest = null));
    event.waitUntil(keepingRest);
  }
});
