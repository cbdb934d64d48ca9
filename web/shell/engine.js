// The worker that runs the page, seen from the main thread.

class Engine {
  worker = null;
  module = null;
  waiting = new Map();
  last = 0;
  hasBackground = true;
  onprogress = () => {};
  ondeath = () => {};

  /// Unpacks and compiles what the file carries; once, a worker that is started again takes the same.
  async load() {
    const packed = Uint8Array.from(atob(document.getElementById("module-text").textContent), (c) => c.charCodeAt(0));
    const unpacked = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
    const headers = { "Content-Type": "application/wasm" };
    this.module = await WebAssembly.compileStreaming(new Response(unpacked, { headers }));
    const text = document.getElementById("worker-text").textContent;
    this.address = URL.createObjectURL(new Blob([text], { type: "text/javascript" }));
  }

  async start(cases) {
    const worker = new Worker(this.address, { name: "jogaudit" });
    this.worker = worker;
    worker.onmessage = ({ data }) => this.told(worker, data);
    worker.onerror = (event) => {
      event.preventDefault();
      this.died(worker, event.message || "the worker ended", false);
    };
    await this.call("start", { module: this.module, background: this.hasBackground });
    for (const { key, files } of cases) await this.call("put", { key, files });
  }

  told(worker, { id, done, died, isBackground, isMore }) {
    if (worker !== this.worker) return;
    if (died !== undefined) this.died(worker, died, isBackground);
    else if (isMore !== undefined) this.onprogress(isMore);
    else {
      this.waiting.get(id)?.resolve(done);
      this.waiting.delete(id);
    }
  }

  died(worker, message, isBackground) {
    if (worker !== this.worker) return;
    worker.terminate();
    this.worker = null;
    // What makes the reading in the background fail would do so again and again.
    if (isBackground) this.hasBackground = false;
    const waiting = [...this.waiting.values()];
    this.waiting.clear();
    for (const { reject } of waiting) reject(new Died(message));
    if (waiting.length === 0) this.ondeath(message);
  }

  call(job, data) {
    return new Promise((resolve, reject) => {
      if (!this.worker) return reject(new Died("the worker is not there"));
      this.waiting.set(++this.last, { resolve, reject });
      this.worker.postMessage({ id: this.last, job, ...data });
    });
  }
}

class Died extends Error {}

