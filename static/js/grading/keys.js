// Which key does what on the grading screen: whatever carries data-key is pressed by its key.

const KEYS = [..."arnuspmcztedfgATE? 1234567890", "ArrowLeft", "ArrowRight"];

// The name of a key: letters alike in small and capital, but with Shift as typed.
export const nameOf = ({ key, shiftKey }) => (shiftKey || key.length > 1 ? key : key.toLowerCase());

export const isKey = (name) => KEYS.includes(name);

// Not a key of ours: with a modifier, or while a character is being put together.
export const isForOthers = (event) =>
  event.ctrlKey || event.metaKey || event.altKey || event.isComposing;

// Keys pressed while an answer is on its way wait for it, in order: hands are quicker than lines.
export class KeyBuffer {
  // press: (name) => presses what it stands for, if there is anything
  constructor(press) {
    this.press = press;
    this.waiting = [];
    this.isBusy = false;
  }

  take(name) {
    if (this.isBusy) this.waiting.push(name);
    else this.press(name);
  }

  hold() {
    this.isBusy = true;
  }

  release() {
    this.isBusy = false;
    while (!this.isBusy && this.waiting.length) this.press(this.waiting.shift());
  }

  forget() {
    this.waiting.length = 0;
  }
}
