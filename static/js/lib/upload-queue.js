// The order in which things are sent: some at once, those of one lane one after another, until all
// are gone or one could not be sent. What is to be sent, and how, is its owner's business.

const IDLE = "idle";

export class UploadQueue {
  // waiting: () => what is still to be sent, in order
  // send: async (item) => "" once it is settled, or why the queue has to stop
  // lane: (item) => a name; of one name one is sent at a time. null binds to nothing
  // retryAfterMs: how long the queue that stopped waits, the first time, the second, ...
  // alone: (act) => act, run while no other window runs it
  // changed: () => told when the queue stops or is empty
  constructor({
    waiting,
    send,
    lane = () => null,
    atOnce = 1,
    retryAfterMs = [],
    alone = (act) => act(),
    changed = () => {},
  }) {
    Object.assign(this, { waiting, send, lane, atOnce, retryAfterMs, alone, changed });
    this.state = IDLE; // or why it stopped, until something is sent again
    this.stopped = false;
    this.tries = 0;
    this.flying = new Set();
    this.pump = null;
    this.again = false;
  }

  // Send what waits, after a stop as well; what is added meanwhile goes with it.
  async run() {
    clearTimeout(this.timer);
    if (this.running) {
      this.stopped = false;
      if (this.pump) this.pump();
      else this.again = true;
      return;
    }
    if (!this.next()) return;
    this.running = true;
    try {
      await this.alone(() => this.sendAll());
    } finally {
      this.running = false;
    }
    this.changed();
    const again = this.again || !this.stopped;
    this.again = false;
    if (again && this.next()) this.run();
    else if (this.stopped && this.retryAfterMs.length) this.retryLater();
  }

  retryLater() {
    const last = this.retryAfterMs.length - 1;
    this.timer = setTimeout(() => this.run(), this.retryAfterMs[Math.min(this.tries, last)]);
    this.tries += 1;
  }

  next() {
    const busy = new Set([...this.flying].map(this.lane));
    busy.delete(null);
    return this.waiting().find((item) => !this.flying.has(item) && !busy.has(this.lane(item)));
  }

  sendAll() {
    this.stopped = false;
    return new Promise((resolve, reject) => {
      this.pump = () => {
        while (!this.stopped && this.flying.size < this.atOnce) {
          const item = this.next();
          if (!item) break;
          this.flying.add(item);
          this.sendOne(item).then(() => this.pump?.(), reject);
        }
        if (this.flying.size > 0) return;
        this.pump = null;
        resolve();
      };
      this.pump();
    });
  }

  async sendOne(item) {
    try {
      const stop = await this.send(item);
      this.stopped ||= Boolean(stop);
      this.state = stop || IDLE;
      if (!stop) this.tries = 0;
    } finally {
      this.flying.delete(item);
    }
  }
}
