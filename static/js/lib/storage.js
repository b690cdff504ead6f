// The browser's storage, which may be full, forbidden or hold something else: then nothing is kept.

class Storage {
  constructor(area) {
    this.area = area;
  }

  get(key) {
    try {
      return window[this.area].getItem(key);
    } catch {
      return null;
    }
  }

  set(key, value) {
    try {
      if (value === null) window[this.area].removeItem(key);
      else window[this.area].setItem(key, value);
    } catch {
      // The window itself still has everything.
    }
  }

  getJson(key) {
    try {
      return JSON.parse(this.get(key));
    } catch {
      return null;
    }
  }

  setJson(key, value) {
    this.set(key, value === null ? null : JSON.stringify(value));
  }

  keys() {
    try {
      return Object.keys(window[this.area]);
    } catch {
      return [];
    }
  }
}

export const ofThisWindow = new Storage("sessionStorage");
export const ofAllWindows = new Storage("localStorage");
