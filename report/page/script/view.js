// The part of a capture that is shown, in seconds from its start.

const CLOSEST = 20e-6; // seconds; a waveform has nothing more to show

export class View {
  constructor(length) {
    this.length = Math.max(length, CLOSEST);
    this.from = 0;
    this.to = this.length;
    this.changed = () => {};
  }

  get span() {
    return this.to - this.from;
  }

  get whole() {
    return this.span >= this.length * 0.999;
  }

  // set shows from..to, kept within the capture.
  set(from, to) {
    const span = Math.min(Math.max(to - from, CLOSEST), this.length);
    this.from = Math.min(Math.max(from, 0), this.length - span);
    this.to = this.from + span;
    this.changed();
  }

  // zoom multiplies the span and leaves the instant t where it is.
  zoom(factor, t = (this.from + this.to) / 2) {
    const span = Math.min(Math.max(this.span * factor, CLOSEST), this.length);
    const share = (t - this.from) / this.span;
    this.set(t - share * span, t - share * span + span);
  }

  // move shifts the view by a share of its span.
  move(share) {
    this.set(this.from + share * this.span, this.to + share * this.span);
  }

  // reveal moves the view, if need be, until it holds t.
  reveal(t) {
    if (t < this.from || t > this.to) this.set(t - this.span / 2, t + this.span / 2);
    else this.changed();
  }
}
