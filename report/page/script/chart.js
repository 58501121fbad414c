// The strip chart of one capture: lanes under an overview and a ruler, moved
// by wheel, drag, pinch, buttons and keys.
import { press } from './gestures.js';
import { Lane } from './lane.js';
import { Overview } from './overview.js';
import { Sheet, inks, line } from './pen.js';
import { atOrAfter } from './unpack.js';
import { View } from './view.js';
import { steps } from './words.js';

const SLACK = 1e-9; // seconds by which a time read as a float64 may be off
const SNAP = 8; // pixels within which a tick takes to an edge

export class Chart {
  // chosen is called with the chart when the place chosen or a tick changes.
  constructor(section, capture, chosen) {
    this.section = section;
    this.capture = capture;
    this.report = chosen;
    this.view = new View(capture.duration_s);
    this.view.changed = () => this.redraw();
    this.marks = { chosen: null, ticks: [null, null] };
    this.fit = false;
    this.ruler = new Sheet(section.querySelector('.ruler'));
    const channels = capture.channels.flatMap((c) => [c, ...c.slots]);
    this.lanes = [...section.querySelectorAll('.lane')].map((element) => {
      const channel = channels.find((c) => c.name === element.dataset.channel);
      return new Lane(element, channel, capture, stretches(capture, channel));
    });
    this.overview = new Overview(section.querySelector('.overview'), this.view, this.lanes);
    this.listen();
  }

  async load() {
    await Promise.all(this.lanes.map((lane) => lane.load()));
    this.overview.forget();
    this.redraw();
  }

  redraw() {
    if (this.due) return;
    this.due = requestAnimationFrame(() => this.draw());
  }

  draw() {
    cancelAnimationFrame(this.due);
    this.due = 0;
    const ink = inks();
    this.overview.draw(ink);
    this.drawRuler(ink);
    for (const lane of this.lanes) {
      lane.draw(this.view, this.marks, ink, this.fit);
      this.describe(lane);
    }
  }

  describe(lane) {
    const { element } = lane;
    const now = this.marks.chosen?.lane === lane ? lane.pulses.at[this.marks.chosen.index] : this.view.from;
    element.setAttribute('aria-valuemin', String(this.capture.start_s));
    element.setAttribute('aria-valuemax', String(this.capture.end_s));
    element.setAttribute('aria-valuenow', (now + this.capture.start_s).toFixed(6));
    element.setAttribute('aria-valuetext', `${(now + this.capture.start_s).toFixed(6)} s`);
    element.classList.toggle('taken', this.marks.chosen?.lane === lane);
  }

  drawRuler(ink) {
    const pen = this.ruler.fresh();
    const { width, height } = this.ruler;
    const start = this.capture.start_s;
    const { step, marks } = steps(this.view.from + start, this.view.to + start, Math.max(width / 110, 2));
    const digits = Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
    pen.strokeStyle = ink.soft;
    pen.fillStyle = ink.ink;
    line(pen, 0, height - 0.5, width, height - 0.5);
    for (const t of marks) {
      const x = ((t - start - this.view.from) / this.view.span) * width;
      line(pen, x, height - 7, x, height);
      const words = `${t.toFixed(digits)} s`;
      const wide = pen.measureText(words).width;
      if (x + 4 + wide < width) pen.fillText(words, x + 4, height - 6);
    }
  }

  listen() {
    for (const lane of this.lanes) {
      const { element } = lane;
      press(element, {
        clicked: (e) => this.click(lane, e),
        dragged: (e, before) => this.view.move((before.clientX - e.clientX) / element.clientWidth),
        pinched: (times, e) => this.view.zoom(times, this.instant(element, e)),
      });
      element.addEventListener('wheel', (e) => this.wheel(element, e), { passive: false });
      element.addEventListener('dblclick', (e) => this.view.zoom(0.25, this.instant(element, e)));
      element.addEventListener('keydown', (e) => this.key(lane, e));
    }
    for (const button of this.section.querySelectorAll('[data-move]')) {
      button.addEventListener('click', () => this.move(button.dataset.move));
    }
    this.section.querySelector('[data-fit]').addEventListener('change', (e) => {
      this.fit = e.target.checked;
      this.redraw();
    });
    new ResizeObserver(() => this.redraw()).observe(this.section);
  }

  // instant is the time under a pointer.
  instant(element, e) {
    const box = element.getBoundingClientRect();
    return this.view.from + ((e.clientX - box.left) / box.width) * this.view.span;
  }

  // wheel zooms about the pointer; sideways, or with shift held, it moves
  // along. Where there is nothing more to see the page scrolls.
  wheel(element, e) {
    const along = e.shiftKey ? e.deltaY : e.deltaX;
    if (Math.abs(along) > Math.abs(e.shiftKey ? 0 : e.deltaY)) {
      e.preventDefault();
      this.view.move((along / element.clientWidth) * 0.7);
      return;
    }
    if (e.deltaY > 0 && this.view.whole) return;
    e.preventDefault();
    const lines = e.deltaMode === 1 ? 24 : 1;
    this.view.zoom(Math.exp(Math.min(Math.max(e.deltaY * lines, -240), 240) * (e.ctrlKey ? 0.01 : 0.003)), this.instant(element, e));
  }

  // click chooses the pulse at the pointer; with shift held it sets a tick.
  click(lane, e) {
    lane.element.focus({ preventScroll: true });
    const t = this.instant(lane.element, e);
    if (e.shiftKey) {
      this.tick(this.nextTick(), this.snap(lane, t));
      return;
    }
    if (!lane.empty) this.choose(lane, lane.nearest(t));
  }

  // snap takes the edge nearest to t, where edges are drawn and one is near.
  snap(lane, t) {
    if (!lane.close) return t;
    const edge = lane.nearestEdge(t, this.view);
    return Math.abs(edge - t) < (SNAP / lane.element.clientWidth) * this.view.span ? edge : t;
  }

  nextTick() {
    const [one, two] = this.marks.ticks;
    return one === null || two !== null ? 0 : 1;
  }

  // tick sets one of the two ticks; setting the first anew takes the second away.
  tick(which, t) {
    if (which === 0) this.marks.ticks = [t, null];
    else this.marks.ticks[which] = t;
    this.report(this);
    this.redraw();
  }

  rubOut() {
    this.marks.ticks = [null, null];
    this.report(this);
    this.redraw();
  }

  // release gives up the place and the ticks, for those of another chart.
  release() {
    this.marks = { chosen: null, ticks: [null, null] };
    this.redraw();
  }

  // choose takes a pulse as the place that is read.
  choose(lane, index) {
    const kept = Math.min(Math.max(index, 0), lane.pulses.length - 1);
    this.marks.chosen = { lane, index: kept };
    this.report(this);
    this.view.reveal(lane.pulses.at[kept]);
  }

  // key is what the keyboard does on a lane.
  key(lane, e) {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const { chosen } = this.marks;
    const at = chosen?.lane === lane ? chosen.index : -1;
    const page = Math.max(1, Math.round(this.inView(lane) * 0.8));
    const step = {
      ArrowRight: 1, ArrowLeft: -1, PageDown: page, PageUp: -page, Home: -Infinity, End: Infinity,
    }[e.key];
    const act = {
      ArrowUp: () => this.cross(lane, -1), ArrowDown: () => this.cross(lane, 1),
      '+': () => this.move('closer'), '=': () => this.move('closer'), '-': () => this.move('wider'), 0: () => this.move('whole'),
      1: () => this.tickHere(0), 2: () => this.tickHere(1), Escape: () => this.rubOut(),
    }[e.key];
    if (step && !lane.empty) this.choose(lane, at < 0 && Number.isFinite(step) ? atOrAfter(lane.pulses.at, this.view.from) : at + step);
    else if (act) act();
    else return;
    e.preventDefault();
  }

  inView(lane) {
    return lane.empty ? 0 : atOrAfter(lane.pulses.at, this.view.to) - atOrAfter(lane.pulses.at, this.view.from);
  }

  // cross goes to the next lane, at the same time.
  cross(lane, step) {
    const next = this.lanes[this.lanes.indexOf(lane) + step];
    if (!next) return;
    next.element.focus();
    const { chosen } = this.marks;
    if (chosen && !next.empty) this.choose(next, next.nearest(chosen.lane.pulses.at[chosen.index]));
  }

  tickHere(which) {
    const { chosen } = this.marks;
    if (chosen) this.tick(which, chosen.lane.pulses.at[chosen.index]);
  }

  move(where) {
    const { chosen } = this.marks;
    const t = chosen ? chosen.lane.pulses.at[chosen.index] : NaN;
    const about = t >= this.view.from && t <= this.view.to ? t : undefined;
    const moves = {
      whole: () => this.view.set(0, this.view.length),
      earlier: () => this.view.move(-0.5),
      later: () => this.view.move(0.5),
      closer: () => this.view.zoom(0.5, about),
      wider: () => this.view.zoom(2, about),
    };
    moves[where]();
  }

  // goTo shows an event or finding and chooses its channel's first pulse at or
  // after its start, else the last.
  goTo(found) {
    const lane = this.laneOf(found);
    if (!lane) return;
    const [from, to] = [found.start_s, found.end_s].map((t) => t - this.capture.start_s);
    const index = Math.min(atOrAfter(lane.pulses.at, from - SLACK), lane.pulses.length - 1);
    const usual = (lane.channel.period_us?.nominal || 20000) / 1e6;
    const room = Math.max((to - from) * 0.3, 8 * usual);
    const at = lane.pulses.at[index];
    this.view.set(Math.min(from, at) - room, Math.max(to, at) + room);
    this.choose(lane, index);
  }

  // laneOf is the lane of the first channel that a finding names and that has
  // pulses: of a stream its first slot, of the capture as a whole the first.
  laneOf(found) {
    const full = this.lanes.filter((lane) => !lane.empty);
    for (const name of found.channels) {
      const lane = full.find((l) => l.name === name) || full.find((l) => this.capture.channels.some((c) => c.name === name && c.slots.includes(l.channel)));
      if (lane) return lane;
    }
    return full[0];
  }
}

// timesOf lists when an event was met: its times, and behind the last of those
// that are listed the findings of the rest.
export function timesOf(capture, event) {
  const { times, count } = event;
  if (times.length === 0) return [[event.start_s, event.end_s]];
  if (count === times.length) return times;
  const listed = times[times.length - 1][1];
  return [...times, ...event.findings.map((i) => capture.findings[i]).filter((f) => f.start_s > listed).map((f) => [f.start_s, f.end_s])];
}

// stretches are what was found on a channel: events with a flag each, notes
// that belong to no event without.
function stretches(capture, channel) {
  const names = [channel.name, ...capture.channels.filter((c) => c.slots.includes(channel)).map((c) => c.name)];
  const here = (found) => found.channels.length === 0 || found.channels.some((name) => names.includes(name));
  const place = (from, to, rest) => ({
    from: from - capture.start_s, to: to - capture.start_s, whole: to - from > capture.duration_s * 0.95, ...rest,
  });
  const told = new Set(capture.events.flatMap((e) => e.findings));
  const out = [];
  capture.events.forEach((event, i) => {
    if (!here(event)) return;
    for (const [from, to] of timesOf(capture, event)) out.push(place(from, to, { severity: event.severity, flag: i + 1 }));
  });
  capture.findings.forEach((finding, i) => {
    if (told.has(i) || !here(finding)) return;
    const blind = finding.kind === 'unknown-level';
    const s = place(finding.start_s, finding.end_s, { severity: finding.severity, flag: 0, blind });
    if (!s.whole || blind) out.push(s);
  });
  return out;
}
