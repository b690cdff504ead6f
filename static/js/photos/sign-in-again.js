// A session that ended while photographs were chosen: they stay where they are, whoever chose them
// signs in in another window, and this page goes on with the token that the new session has.

import { fetchPage, find } from "../lib/page.js";

export class SignInAgain {
  // notice: what says so, with a link to sign in and a button to look again
  // form: says in data-reader who chose the photographs
  // again: () => what to do once they are signed in
  constructor(notice, form, again) {
    Object.assign(this, { notice, form, again, isOut: false, isLooking: false });
    find("[data-look-again]", notice).addEventListener("click", () => this.look());
    // Whoever signed in in another window comes back to this one.
    window.addEventListener("focus", () => this.look());
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") this.look();
    });
  }

  ended() {
    this.isOut = true;
    this.say("out");
  }

  say(which) {
    this.notice.hidden = false;
    for (const text of this.notice.querySelectorAll("[data-when]")) {
      text.hidden = text.dataset.when !== which;
    }
  }

  async look() {
    if (!this.isOut || this.isLooking) return;
    this.isLooking = true;
    try {
      const page = await fetchPage(location.pathname);
      if (!page) return;
      const form = page.querySelector("[data-upload]");
      // What one person chose is not sent in another's name.
      if (form?.dataset.reader !== this.form.dataset.reader) {
        this.say("somebody-else");
        return;
      }
      const token = page.body.getAttribute("hx-headers");
      document.body.setAttribute("hx-headers", token);
      for (const field of document.querySelectorAll("[name=csrfmiddlewaretoken]")) {
        field.value = form.elements.csrfmiddlewaretoken.value;
      }
      this.isOut = false;
      this.notice.hidden = true;
      this.again();
    } catch {
      // The network is gone; the next look may find it.
    } finally {
      this.isLooking = false;
    }
  }
}
