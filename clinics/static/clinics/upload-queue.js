// Sends files one after the other over tus, goes on after a lost connection, can pause.
// Knows nothing of the page: it tells by callbacks.

const RETRIES_MS = [0, 1000, 3000, 5000, 10000, 20000, 30000, 30000, 60000, 60000, 60000];
const PIECE_BYTES = 64 * 1024 * 1024; // one request carries so much; what it left is kept anyway

export class UploadQueue {
  // `told(item)` after every change; an item is {file, url, metadata, state, sent, why, id}.
  constructor({ endpoint, token, told, done }) {
    Object.assign(this, { endpoint, token, told, done });
    this.items = [];
    this.current = null;
    this.paused = false;
  }

  // On the list; it is sent once it is let go: what the server has of it is being asked.
  hold(item) {
    this.items.push(Object.assign(item, { state: "asking", sent: 0 }));
    this.told(item);
    return item;
  }

  letGo(item, facts) {
    Object.assign(item, { state: "waiting" }, facts);
    this.told(item);
    this.next();
  }

  // Chosen or dropped once more before it is through.
  holds(file) {
    return this.open.some((one) => isSame(one.file, file));
  }

  next() {
    if (this.current || this.paused) return;
    const item = this.items.find((one) => one.state === "waiting");
    if (!item) return;
    this.current = item;
    this.send(item);
  }

  send(item) {
    item.state = "sending";
    this.told(item);
    item.upload = new window.tus.Upload(item.file, {
      endpoint: this.endpoint,
      uploadUrl: item.url,
      metadata: item.metadata,
      chunkSize: PIECE_BYTES,
      retryDelays: RETRIES_MS,
      storeFingerprintForResuming: false, // the server knows what is half here, on any browser
      headers: { "X-CSRFToken": this.token },
      onUploadUrlAvailable: () => {
        item.url = item.upload.url;
        item.id = item.url.split("/").filter(Boolean).at(-1);
      },
      onProgress: (sent) => {
        item.state = "sending";
        item.sent = sent;
        this.told(item);
      },
      onShouldRetry: (error) => {
        const status = error.originalResponse ? error.originalResponse.getStatus() : 0;
        const again = status === 0 || status >= 500 || [400, 409, 423, 429].includes(status);
        if (again && status !== 507) {
          item.state = "again";
          this.told(item);
          return true;
        }
        return false;
      },
      onError: (error) => this.end(item, "refused", reasonOf(error)),
      onSuccess: () => this.end(item, "here"),
    });
    item.upload.start();
  }

  end(item, state, why = "") {
    Object.assign(item, { state, why, sent: state === "here" ? item.file.size : item.sent });
    this.current = null;
    this.told(item);
    this.done(item);
    this.next();
  }

  pause() {
    this.paused = true;
    const item = this.current;
    if (!item) return;
    item.upload.abort();
    item.state = "paused";
    this.told(item);
  }

  resume() {
    this.paused = false;
    const item = this.current;
    if (item) {
      item.state = "sending";
      item.upload.start();
      this.told(item);
    } else {
      this.next();
    }
  }

  get open() {
    return this.items.filter((one) => !["here", "known", "refused"].includes(one.state));
  }
}

function isSame(one, other) {
  return ["name", "size", "lastModified"].every((fact) => one[fact] === other[fact]);
}

function reasonOf(error) {
  const response = error.originalResponse;
  return (response && response.getBody().trim().slice(0, 200)) || error.message;
}
