// Keeps cases in the browser's own database: one record a file, and a version for each case. What could not be kept stays in
// `unsaved`, so that it is tried again with the next change and is there when the worker is started again.

const DATABASE = "jogaudit";
/// A browser that does not answer in this time keeps nothing: some do so in private windows.
const OPEN_MS = 5000;

const result = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

function openDatabase() {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error("no answer from the browser’s storage")), OPEN_MS);
    const request = indexedDB.open(DATABASE, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("cases", { keyPath: "key" });
      request.result.createObjectStore("files");
    };
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
      clearTimeout(timer);
      resolve(request.result);
    };
  });
}

class Store {
  database = null;
  /// The version of each case that this tab has taken over; 0 for one that it has never seen.
  versions = new Map();
  /// case → { whole: whether the case was removed first, files: name → bytes, null where removed }
  unsaved = new Map();
  /// Why nothing is kept, a sentence for people; null while all is.
  trouble = null;
  hasAsked = false;

  async open() {
    try {
      const database = await openDatabase();
      this.database = database;
      // A newer page in another tab, or somebody who clears the browser's data.
      database.onversionchange = () => {
        database.close();
        this.database = null;
      };
      database.onclose = () => (this.database = null);
    } catch (error) {
      this.trouble = why(error);
    }
  }

  /// What another tab has written since: for each such case its files, or null where it is gone.
  async newer() {
    if (!this.database) return [];
    const found = [];
    try {
      const tx = this.database.transaction(["cases", "files"]);
      for (const { key, version, gone } of await result(tx.objectStore("cases").getAll())) {
        // What is here alone must not be replaced; the next try to save it says what is the matter.
        if (version === (this.versions.get(key) ?? 0) || this.unsaved.has(key)) continue;
        found.push({ key, version, files: gone ? null : await filesOf(tx, key) });
      }
    } catch (error) {
      this.trouble = why(error);
      return [];
    }
    for (const { key, version } of found) this.versions.set(key, version);
    return found;
  }

  /// All cases, as a worker that was started again has to know them.
  async all() {
    const { unsaved, versions } = this;
    this.versions = new Map();
    this.unsaved = new Map();
    const cases = new Map((await this.newer()).map(({ key, files }) => [key, files]));
    this.unsaved = unsaved;
    // What is here alone still stands on the version that it was made from.
    for (const key of unsaved.keys()) this.versions.set(key, versions.get(key) ?? 0);
    for (const [key, { whole, files }] of unsaved) {
      const now = whole ? new Map() : (cases.get(key) ?? new Map());
      for (const [name, bytes] of files) bytes === null ? now.delete(name) : now.set(name, bytes);
      cases.set(key, whole && files.size === 0 ? null : now);
    }
    return [...cases].filter(([, files]) => files !== null).map(([key, files]) => ({ key, files }));
  }

  /// Keeps changes, all or none: "kept"; "newer" where another tab was first; "unsaved" where the browser does not keep them.
  async save(changes) {
    const hadUnsaved = this.unsaved.size > 0;
    const all = merged(this.unsaved, changes);
    const fail = (sentence) => {
      this.unsaved = all;
      this.trouble = sentence;
      return "unsaved";
    };
    if (!this.database) await this.open();
    if (!this.database) return fail(this.trouble);
    let tx;
    try {
      tx = this.database.transaction(["cases", "files"], "readwrite", { durability: "strict" });
      const ended = new Promise((resolve, reject) => {
        tx.oncomplete = resolve;
        tx.onabort = () => reject(tx.error ?? new Error("aborted"));
      });
      ended.catch(() => {});
      const next = new Map();
      for (const [key, { whole, files }] of all) {
        const known = this.versions.get(key) ?? 0;
        const stored = (await result(tx.objectStore("cases").get(key)))?.version ?? 0;
        if (stored !== known) {
          tx.abort();
          if (stored === 0) return fail("its storage was emptied");
          return hadUnsaved ? fail("another tab has changed the case meanwhile") : "newer";
        }
        if (whole) tx.objectStore("files").delete(IDBKeyRange.bound([key], [key, []]));
        for (const [name, bytes] of files) {
          if (bytes === null) tx.objectStore("files").delete([key, name]);
          else tx.objectStore("files").put(bytes, [key, name]);
        }
        next.set(key, known + 1);
        tx.objectStore("cases").put({ key, version: known + 1, gone: whole && files.size === 0 });
      }
      await ended;
      for (const [key, version] of next) this.versions.set(key, version);
    } catch (error) {
      try {
        tx?.abort();
      } catch {
        // It has ended already.
      }
      return fail(why(error));
    }
    this.unsaved = new Map();
    this.trouble = null;
    this.askToStay();
    return "kept";
  }

  /// Asks the browser, once, not to clear this away when it needs room. Its answer changes nothing here.
  askToStay() {
    if (this.hasAsked) return;
    this.hasAsked = true;
    const storage = navigator.storage;
    storage?.persisted?.().then((stays) => stays || storage.persist()).catch(() => {});
  }
}

async function filesOf(tx, key) {
  const range = IDBKeyRange.bound([key], [key, []]);
  const store = tx.objectStore("files");
  const [names, contents] = await Promise.all([result(store.getAllKeys(range)), result(store.getAll(range))]);
  return new Map(names.map(([, name], at) => [name, contents[at]]));
}

/// Earlier changes with later ones laid over them.
function merged(before, changes) {
  const all = new Map([...before].map(([key, { whole, files }]) => [key, { whole, files: new Map(files) }]));
  for (const { case: key, name, bytes } of changes) {
    if (name === null) all.set(key, { whole: true, files: new Map() });
    else {
      if (!all.has(key)) all.set(key, { whole: false, files: new Map() });
      // Without a name it says only that the case is there, as one that was just begun.
      if (name !== "") all.get(key).files.set(name, bytes);
    }
  }
  return all;
}

function why(error) {
  if (error?.name === "QuotaExceededError") return "its storage is full";
  if (error?.name === "SecurityError") return "its settings forbid it";
  return `it says: ${error?.message || error?.name || error}`;
}

