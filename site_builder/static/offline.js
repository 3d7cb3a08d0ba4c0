"use strict";

/**
 * The site on the machine: over a network, and only there, what it needs without a signal is kept (`modules/offline/worker.js`),
 * and the browser is told how it can be put among the programs. Opened from a folder it is on the machine already.
 */
(() => {
  const script = document.currentScript;
  const home = script instanceof HTMLScriptElement ? new URL(".", script.src) : null;
  if (!home || !/^https?:$/.test(home.protocol) || !("serviceWorker" in navigator)) return;
  const workers = navigator.serviceWorker;
  /** A page that is looked at while it is written is not kept. */
  const isPreview = () => "askForNews" in globalThis;
  let asked = false;

  const manifest = document.createElement("link");
  manifest.rel = "manifest";
  manifest.href = new URL("site.webmanifest", home).href;

  /** Whether whoever looks wants to spare their connection. */
  const sparing = () => {
    const connection = /** @type {{saveData?: boolean, effectiveType?: string} | undefined} */ (Reflect.get(navigator, "connection"));
    return Boolean(connection?.saveData) || /2g/.test(connection?.effectiveType ?? "");
  };

  /** Says that there is a newer version, which takes the place of this one when it is asked for. @param {ServiceWorkerRegistration} registration */
  const offer = ({ waiting }) => {
    if (!waiting || !workers.controller || document.querySelector(".newer")) return;
    const text = document.createElement("p");
    text.textContent = "There is a newer record. ";
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = "Show it";
    button.addEventListener("click", () => {
      asked = true;
      waiting.postMessage({ do: "now" });
    });
    text.append(button);
    const box = document.createElement("div");
    box.className = "twins newer";
    box.setAttribute("role", "status");
    box.append(text);
    document.querySelector("footer")?.before(box);
  };

  const begin = async () => {
    if (isPreview()) return;
    document.head.append(manifest);
    const registration = await workers.register(new URL("worker.js", home), { scope: home.pathname, updateViaCache: "none" });
    offer(registration);
    registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", () => offer(registration)));
    const { active } = await workers.ready;
    if (active && !sparing()) active.postMessage({ do: "rest" });
    showKept();
  };

  /** On the page about it: what is kept. */
  const showKept = () => {
    const shown = document.getElementById("offline-kept");
    const active = workers.controller;
    if (!shown || !active) return;
    const { port1, port2 } = new MessageChannel();
    port1.onmessage = ({ data }) => {
      const tools = data.first ? "Everything it takes to identify, to compare, to search and to measure is kept." : "Not everything is kept yet.";
      shown.textContent = `${tools} In all, ${data.kept} of ${data.of} files are on this device.`;
      if (data.kept < data.of && navigator.onLine) window.setTimeout(showKept, 2000);
    };
    active.postMessage({ do: "count" }, [port2]);
  };

  /** What was asked for and is not here stands behind the #. */
  const showAsked = () => {
    const shown = document.getElementById("offline-asked");
    if (!shown || location.hash.length < 2) return;
    const again = document.createElement("a");
    again.href = new URL(decodeURI(location.hash.slice(1)), home).pathname.startsWith(home.pathname) ? location.hash.slice(1) : "index.html";
    again.textContent = "Try it again";
    shown.append("This page is not on this device, and there is no signal. ", again, ".");
    shown.hidden = false;
  };

  workers.addEventListener("controllerchange", () => {
    if (asked) location.reload();
    else showKept();
  });
  window.addEventListener("load", () => {
    showAsked();
    // Where a browser is told to keep nothing, as in some private windows, the site works all the same.
    begin().catch(() => undefined);
  });
})();
