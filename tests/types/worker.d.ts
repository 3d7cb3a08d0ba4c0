// As much of a service worker's world as `modules/offline/worker.js` uses; the types of the page's world leave it out.

interface ExtendableEvent extends Event {
  waitUntil(work: Promise<unknown>): void;
}

interface FetchEvent extends ExtendableEvent {
  readonly request: Request;
  respondWith(response: Promise<Response>): void;
}

interface ExtendableMessageEvent extends ExtendableEvent {
  readonly data: { do: "rest" | "now" | "count" };
  readonly ports: readonly MessagePort[];
}

interface WorkerScope {
  readonly registration: ServiceWorkerRegistration;
  readonly clients: { claim(): Promise<void> };
  skipWaiting(): Promise<void>;
  addEventListener(kind: "install" | "activate", listener: (event: ExtendableEvent) => void): void;
  addEventListener(kind: "fetch", listener: (event: FetchEvent) => void): void;
  addEventListener(kind: "message", listener: (event: ExtendableMessageEvent) => void): void;
}

declare var tellmarkKept: import("../../site_builder/modules/offline/worker.js").Kept;
