// Where each of many photographs will go: as their names say, or dealt joint after joint by the
// rules of assessments/domain/photo_places.py, and as they were moved by hand since. Nothing is
// asked of the server, so that the plan follows what is typed.

export const BOARD = "board";
export const OUT = "out";
export const BY_NAME = "by-name";
export const BY_CLOCK = "in-order-taken";
export const BY_NAMES_ORDER = "in-order-of-names";
export const MOST_A_JOINT = 50;

export class PhotoPlan {
  // joints: the keys of the joints, in the order of the board
  constructor(joints, { how = BY_NAME, each = 1, first = joints[0] } = {}) {
    this.joints = joints;
    this.set = { how, each, first };
    this.photos = []; // { named, counts }: a joint's key or null; whether it takes a place
    this.orders = {}; // by way: the photographs in that order
    this.moved = new Map(); // photograph → { to: a key } or { by: so many places }
    this.past = [];
    this.lastAct = "";
  }

  get isInOrder() {
    return this.set.how.startsWith("in-order");
  }

  bring(photos, orders) {
    this.photos = photos;
    this.orders = orders;
    for (const photo of this.moved.keys()) if (!photos.includes(photo)) this.moved.delete(photo);
  }

  // Acts of one kind that follow each other, as digits typed, are taken back together.
  remember(act) {
    if (act && act === this.lastAct) return;
    this.past.push({ set: this.set, moved: new Map(this.moved) });
    this.lastAct = act;
  }

  undo() {
    Object.assign(this, this.past.pop());
    this.lastAct = "";
  }

  // What was put at a joint by hand stays there; what was shifted is dealt anew.
  change(name, value) {
    this.remember(name);
    this.set = { ...this.set, [name]: value };
    for (const [photo, { to }] of this.moved) if (!to) this.moved.delete(photo);
  }

  move(photos, to) {
    this.remember(`to ${photos.map((photo) => this.photos.indexOf(photo))}`);
    for (const photo of photos) this.moved.set(photo, { to });
  }

  // Back to where they are dealt.
  putBack(photos) {
    this.remember("");
    for (const photo of photos) this.moved.delete(photo);
  }

  // By so many places, of which a joint has as many as photographs. Returns what stands in the way:
  // "first" or "last" where there is no such place, "none" where nothing stands at a joint.
  shift(photos, by) {
    const now = this.slots();
    const standing = photos.filter((photo) => now.has(photo));
    if (!standing.length) return "none";
    const after = new Map(standing.map((photo) => [photo, now.get(photo) + by]));
    const places = this.joints.length * this.unit;
    for (const slot of after.values()) {
      if (slot < 0) return "first";
      if (slot >= places) return "last";
    }
    this.remember(`shift ${photos.map((photo) => this.photos.indexOf(photo))}`);
    for (const photo of standing) {
      const { to, by: before = 0 } = this.moved.get(photo) ?? {};
      if (to) {
        const at = this.joints.indexOf(to) + Math.sign(by);
        this.moved.set(photo, { to: this.joints[Math.max(0, Math.min(at, this.last))] });
      } else {
        this.moved.set(photo, { by: before + by });
      }
    }
    return "";
  }

  get unit() {
    return this.isInOrder ? this.set.each : 1;
  }

  get last() {
    return this.joints.length - 1;
  }

  // The places of photographs that stand at a joint, counted from the board's first.
  slots() {
    const slots = new Map();
    const put = (photo, slot) => {
      const moved = slot + (this.moved.get(photo)?.by ?? 0);
      if (moved >= 0 && moved < this.joints.length * this.unit) slots.set(photo, moved);
    };
    if (this.isInOrder) {
      // One that is put elsewhere by hand, or left out, keeps its place empty: what is not ticked
      // does not move.
      const dealt = this.orders[this.set.how].filter((photo) => photo.counts);
      const first = Math.max(0, this.joints.indexOf(this.set.first)) * this.unit;
      dealt.forEach((photo, turn) => {
        put(photo, first + turn);
      });
    } else {
      for (const photo of this.photos) {
        const joint = this.set.how === BY_NAME ? photo.named : this.set.how;
        const at = this.joints.indexOf(joint);
        if (photo.counts && at >= 0) put(photo, at);
      }
    }
    for (const [photo, { to }] of this.moved) {
      const at = to ? this.joints.indexOf(to) : -1;
      if (at >= 0) slots.set(photo, at * this.unit);
      else if (to) slots.delete(photo);
    }
    return slots;
  }

  // Each photograph with the key of its joint, BOARD or OUT.
  places() {
    const slots = this.slots();
    const together = this.isInOrder || this.set.how === BY_NAME ? BOARD : this.set.how;
    return new Map(
      this.photos.map((photo) => {
        const to = this.moved.get(photo)?.to;
        const slot = slots.get(photo);
        const joint = slot === undefined ? together : this.joints[Math.floor(slot / this.unit)];
        return [photo, to ?? joint];
      }),
    );
  }

  // In which order those of one joint stand there.
  inSequence() {
    return this.orders[this.set.how === BY_CLOCK ? BY_CLOCK : BY_NAMES_ORDER] ?? this.photos;
  }

  // What a drop seems to be whose names tell of no joint: so many a joint that none is left over.
  suggestion() {
    const counted = this.photos.filter((photo) => photo.counts);
    if (counted.some((photo) => photo.named) || counted.length < this.joints.length) return null;
    const each = Math.min(MOST_A_JOINT, Math.ceil(counted.length / this.joints.length));
    return this.joints.length ? { how: BY_CLOCK, each } : null;
  }
}
