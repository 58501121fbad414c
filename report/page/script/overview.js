// The whole capture small, with the window that the view is.
import { press } from './gestures.js';
import { Sheet, drawColumns } from './pen.js';
import { thin } from './thin.js';

const HANDLE = 6; // pixels within which a press takes an edge of the window
const ROW = 8; // pixels for each lane, where many of them need more than the style gives
const TALLEST = 240;

export class Overview {
  constructor(element, view, lanes) {
    this.element = element;
    this.view = view;
    this.lanes = lanes;
    const needed = Math.min(ROW * lanes.length, TALLEST);
    if (needed > element.clientHeight) element.style.height = `${needed}px`;
    this.sheet = new Sheet(element);
    press(element, { clicked: (e) => this.centre(e), dragged: (e, before) => this.drag(e, before) });
  }

  // forget has the lanes drawn anew, now that they have their pulses.
  forget() {
    this.drawn = '';
  }

  // draw draws the lanes once for each size and scheme, and the window.
  draw(ink) {
    const pen = this.sheet.fresh();
    const { width, height, canvas } = this.sheet;
    if (width === 0) return;
    const drawn = `${canvas.width} ${canvas.height} ${ink.ink}`;
    if (this.drawn !== drawn) {
      this.drawn = drawn;
      this.drawLanes(pen, ink);
      this.picture = document.createElement('canvas');
      this.picture.width = canvas.width;
      this.picture.height = canvas.height;
      this.picture.getContext('2d').drawImage(canvas, 0, 0);
    } else {
      pen.drawImage(this.picture, 0, 0, width, height);
    }
    this.drawWindow(pen, ink);
  }

  x(t) {
    return (t / this.view.length) * this.sheet.width;
  }

  drawLanes(pen, ink) {
    const { width, height } = this.sheet;
    const each = height / Math.max(this.lanes.length, 1);
    const inset = Math.min(2, each / 4);
    const count = Math.max(Math.round(width), 1);
    this.lanes.forEach((lane, i) => {
      for (const s of lane.stretches) {
        if (!s.flag) continue;
        pen.fillStyle = ink[s.severity];
        pen.fillRect(this.x(s.from), i * each, Math.max(this.x(s.to) - this.x(s.from), 2), s.whole ? inset : each);
      }
      if (lane.empty) return;
      pen.fillStyle = pen.strokeStyle = ink.ink;
      const [low, high] = lane.range(null, false);
      const y = (w) => i * each + inset + (1 - (w - low) / (high - low)) * (each - 2 * inset);
      drawColumns(pen, thin(lane.pulses, lane.pulses.width, 0, this.view.length, count), y);
    });
  }

  // drawWindow dims what the view leaves out and gives the rest two handles.
  drawWindow(pen, ink) {
    const { width, height } = this.sheet;
    const from = this.x(this.view.from);
    const to = this.x(this.view.to);
    pen.fillStyle = ink.paper;
    pen.globalAlpha = 0.7;
    pen.fillRect(0, 0, from, height);
    pen.fillRect(to, 0, width - to, height);
    pen.globalAlpha = 1;
    pen.strokeStyle = pen.fillStyle = ink.ink;
    const right = Math.max(to, from + 2);
    pen.strokeRect(from + 0.5, 0.5, right - from - 1, height - 1);
    for (const at of [from, right]) pen.fillRect(at - 1.5, height / 3, 3, height / 3);
  }

  // time is the instant under a pointer.
  time(e) {
    const box = this.element.getBoundingClientRect();
    return ((e.clientX - box.left) / box.width) * this.view.length;
  }

  // drag moves the window or one of its edges; where all is shown it draws one.
  drag(e, before) {
    const { from, to, length, whole } = this.view;
    const [was, is] = [this.time(before), this.time(e)];
    const near = (HANDLE / this.sheet.width) * length;
    if (whole) this.view.set(Math.min(was, is), Math.max(was, is));
    else if (Math.abs(was - from) < near) this.view.set(Math.min(is, to - near / 4), to);
    else if (Math.abs(was - to) < near) this.view.set(from, Math.max(is, from + near / 4));
    else this.view.set(from + is - was, to + is - was);
  }

  centre(e) {
    const { span } = this.view;
    this.view.set(this.time(e) - span / 2, this.time(e) + span / 2);
  }
}
