// A lane of the strip chart: one channel's widths over time and, close up, its
// waveform edge by edge.
import { Columns, thin } from './thin.js';
import { LIFTED, atOrAfter, unpack } from './unpack.js';
import { Sheet, drawColumns, line, write } from './pen.js';
import { US, places } from './words.js';

const TOP = 22; // room for the name and the rail of events
const FOOT = 14; // room for rests and gaps
const CLOSE = 2; // pixels a millisecond from which edges are drawn
const DOTS = 6; // pixels a pulse from which each has a dot

// pair reads two numbers that stand in an attribute, null where there are none.
function pair(text) {
  return text ? text.split(' ').map(Number) : null;
}

export class Lane {
  // stretches are what was found on the lane: from, to, severity and, for
  // events, a flag.
  constructor(element, channel, capture, stretches) {
    this.element = element;
    this.name = element.dataset.channel;
    this.channel = channel;
    this.slot = !capture.channels.includes(channel);
    this.start = capture.start_s;
    this.places = places(capture.resolution_us);
    this.step = capture.resolution_us || 0.1;
    this.stretches = stretches;
    this.warn = pair(element.dataset.warn);
    this.fail = pair(element.dataset.fail);
    this.sheet = new Sheet(element);
    this.pulses = null;
  }

  async load() {
    const packed = this.element.querySelector('script.pulses');
    if (!packed) return;
    const { pulses, rejected, stuck } = await unpack(packed.textContent, this.start);
    packed.remove();
    this.rejected = rejected;
    this.stuck = stuck;
    this.pulses = pulses;
  }

  get empty() {
    return !this.pulses || this.pulses.length === 0;
  }

  // range is the widths that the lane shows, in picoseconds: the legal ones and
  // all that occur, or what the view holds.
  range(columns, fit) {
    let low = Infinity;
    let high = -Infinity;
    if (fit && columns) {
      for (let i = 0; i < columns.count; i++) {
        if (columns.pulses[i] === 0) continue;
        low = Math.min(low, columns.low[i]);
        high = Math.max(high, columns.high[i]);
      }
    } else {
      const seen = this.channel.width_us;
      const legal = this.fail || [800, 2200];
      low = Math.min(legal[0], seen ? seen.min : Infinity) * US;
      high = Math.max(legal[1], seen ? seen.max : -Infinity) * US;
    }
    if (!(low <= high)) return [800 * US, 2200 * US];
    const room = Math.max((high - low) * 0.06, fit ? 2 * this.step * US : 0, 1);
    return [low - room, high + room];
  }

  // draw shows the part of the capture that view holds. Marks are the place
  // chosen and the pencil ticks.
  draw(view, marks, ink, fit) {
    this.free = this.element.querySelector('.name').offsetWidth + 12;
    const pen = this.sheet.fresh();
    const { width, height } = this.sheet;
    if (width === 0) return;
    const scale = width / (view.to - view.from);
    const x = (t) => (t - view.from) * scale;
    const close = scale / 1e3 >= CLOSE && !this.empty;
    this.close = close;
    const foot = close ? TOP + (height - TOP) * 0.45 : height - FOOT;
    const columns = this.empty ? null : this.columns(view, width);
    const [low, high] = this.range(columns, fit);
    const y = (w) => foot - ((w - low) / (high - low)) * (foot - TOP);
    const paper = { pen, ink, x, y, width, height, foot, view };
    this.drawGround(paper);
    if (columns) {
      this.drawRests(paper, close);
      this.drawTrace(paper, columns, scale);
      if (close) this.drawWave(paper);
    }
    this.drawBlind(paper);
    this.drawStretches(paper);
    if (columns) this.drawScale(paper, low, high);
    this.drawMarks(paper, marks);
  }

  columns(view, width) {
    const count = Math.max(Math.round(width), 1);
    if (!this.spare || this.spare.count !== count) this.spare = new Columns(count);
    return thin(this.pulses, this.pulses.width, view.from, view.to, count, this.spare);
  }

  // drawGround shades the legal widths.
  drawGround({ pen, ink, y, width, foot }) {
    if (!this.warn) return;
    const within = (w) => Math.min(Math.max(y(w * US), TOP), foot);
    const [low, high] = this.warn.map(within);
    pen.fillStyle = ink.band;
    pen.fillRect(0, high, width, low - high);
  }

  drawTrace(paper, columns, scale) {
    const { pulses } = this;
    const { pen, ink, x, y, view } = paper;
    const first = atOrAfter(pulses.at, view.from);
    const last = atOrAfter(pulses.at, view.to);
    pen.strokeStyle = pen.fillStyle = ink.ink;
    pen.lineWidth = 1.25;
    pen.lineJoin = 'round';
    if (last - first < columns.count / 2) this.drawPulses(paper, first, last, scale);
    else drawColumns(pen, columns, y);
    pen.lineWidth = 1;
    for (let i = 0; i < columns.count; i++) {
      if (columns.gap[i]) line(pen, i + 0.5, paper.foot, i + 0.5, paper.foot + 5);
    }
    if (last < pulses.length && !(pulses.mark[last] & LIFTED) && last > first && columns.count) {
      const from = last - 1;
      line(pen, x(pulses.at[from]), y(pulses.width[from]), x(pulses.at[last]), y(pulses.width[last]));
    }
  }

  // drawPulses draws each pulse by itself.
  drawPulses({ pen, x, y }, first, last, scale) {
    const { pulses } = this;
    const from = Math.max(first - 1, 0);
    pen.beginPath();
    for (let i = from; i < last; i++) {
      if (i === from || pulses.mark[i] & LIFTED) pen.moveTo(x(pulses.at[i]), y(pulses.width[i]));
      pen.lineTo(x(pulses.at[i]) + 0.5, y(pulses.width[i]));
    }
    pen.stroke();
    const usual = (this.channel.period_us?.nominal || 20000) / 1e6;
    if (usual * scale < DOTS) return;
    for (let i = first; i < last; i++) {
      pen.beginPath();
      pen.arc(x(pulses.at[i]), y(pulses.width[i]), 2, 0, 7);
      pen.fill();
    }
  }

  // drawRests draws a bar under each stretch in which the stick did not move.
  drawRests({ pen, ink, x, width, height }, close) {
    if (close) return;
    pen.strokeStyle = ink.soft;
    pen.lineWidth = 1;
    const y = height - 3.5;
    for (const rest of this.channel.rests) {
      const from = Math.max(x(rest.start_s - this.start), 0);
      const to = Math.min(x(rest.end_s - this.start), width);
      if (to - from < 3) continue;
      line(pen, from, y, to, y);
      for (const end of [from, to]) line(pen, end, y - 3, end, y + 3);
      const words = `at rest ${rest.width_us.toFixed(this.places)} us`;
      if (to - from > 130) write(pen, words, (from + to) / 2 - 52, height - 1, ink.soft, ink.sheet);
    }
  }

  // drawWave draws the levels edge by edge; of a slot, the two leading edges
  // that bound it.
  drawWave({ pen, ink, x, width, height, foot, view }) {
    const top = foot + 12;
    const base = height - 6;
    pen.strokeStyle = ink.ink;
    pen.lineWidth = 1.25;
    if (this.slot) {
      this.drawSpacings(pen, x, top, base, view);
      return;
    }
    const up = this.channel.active === 'low' ? base : top;
    const down = this.channel.active === 'low' ? top : base;
    let level = down;
    pen.beginPath();
    pen.moveTo(0, level);
    for (const edge of this.edges(view)) {
      pen.lineTo(x(edge), level);
      level = level === down ? up : down;
      pen.lineTo(x(edge), level);
    }
    pen.lineTo(width, level);
    pen.stroke();
  }

  // drawBlind hatches the stretches in which the level is unknown.
  drawBlind({ pen, ink, x, width, height }) {
    pen.strokeStyle = ink.soft;
    pen.lineWidth = 0.75;
    for (const s of this.stretches) {
      const from = Math.max(x(s.from), 0);
      const to = Math.min(x(s.to), width);
      if (!s.blind || to <= from) continue;
      pen.save();
      pen.beginPath();
      pen.rect(from, TOP, to - from, height - TOP);
      pen.clip();
      pen.fillStyle = ink.sheet;
      pen.fillRect(from, TOP, to - from, height - TOP);
      for (let at = from - height; at < to; at += 8) line(pen, at, height, at + height, 0);
      pen.restore();
    }
  }

  drawSpacings(pen, x, top, base, view) {
    for (let i = this.firstTouching(this.pulses, view); i < this.pulses.length && this.pulses.at[i] <= view.to; i++) {
      const from = x(this.pulses.at[i]);
      const to = x(this.pulses.at[i] + this.pulses.width[i] / 1e12);
      for (const edge of [from, to]) line(pen, edge, top, edge, base);
      line(pen, from, (top + base) / 2, to, (top + base) / 2);
    }
  }

  firstTouching(train, view) {
    let i = atOrAfter(train.at, view.from);
    while (i > 0 && train.at[i - 1] + train.width[i - 1] / 1e12 > view.from) i--;
    return i;
  }

  // edges are the instants in or before the view at which the level turns. A
  // break turns it twice inside a pulse, so that all ends in order will do.
  edges(view) {
    const edges = [];
    for (const train of [this.pulses, this.rejected, this.stuck]) {
      for (let i = this.firstTouching(train, view); i < train.length && train.at[i] <= view.to; i++) {
        edges.push(train.at[i], train.at[i] + train.width[i] / 1e12);
      }
    }
    return edges.sort((a, b) => a - b);
  }

  // drawStretches marks what was found: a rail along the top, colour and shape
  // by severity, and for events a flag and a wash down the lane.
  drawStretches({ pen, ink, x, width, height }) {
    const taken = [];
    for (const s of this.stretches) {
      const from = Math.max(x(s.from), -2);
      const to = Math.min(Math.max(x(s.to), from + 2), width + 2);
      if (to < 0 || from > width) continue;
      pen.fillStyle = ink[s.severity];
      if (!s.flag) {
        pen.fillRect(from, height - 9, Math.max(to - from, 3), 3);
        continue;
      }
      if (!s.whole) {
        pen.globalAlpha = 0.2;
        pen.fillRect(from, TOP - 4, to - from, height - TOP + 4);
        pen.globalAlpha = 1;
      }
      pen.fillRect(from, TOP - 4, Math.max(to - from, 2), 4);
      pen.strokeStyle = ink.ink;
      pen.lineWidth = 0.75;
      if (s.severity === 'fail') line(pen, from, TOP - 4, Math.max(to, from + 2), TOP - 4);
      this.drawFlag(pen, ink, s, Math.max(from, 0), to, taken);
    }
  }

  // drawFlag writes an event's number on a flag; square where it fails, cut at
  // the fly where it warns. One that the lane's name is in the way of stands
  // beside it, if that is still in the stretch; where another flag is taken, none.
  drawFlag(pen, ink, stretch, from, to, taken) {
    const words = String(stretch.flag);
    const wide = Math.max(pen.measureText(words).width + 8, 15);
    const at = Math.max(from, this.free);
    if (at > from && at > to) return;
    if (taken.some(([left, right]) => at < right + 2 && at + wide > left - 2)) return;
    taken.push([at, at + wide]);
    pen.beginPath();
    pen.moveTo(at, 3);
    pen.lineTo(at + wide, 3);
    if (stretch.severity === 'warn') pen.lineTo(at + wide - 4, 10);
    pen.lineTo(at + wide, TOP - 5);
    pen.lineTo(at, TOP - 5);
    pen.closePath();
    pen.fillStyle = ink[stretch.severity];
    pen.fill();
    pen.stroke();
    pen.fillStyle = '#000';
    pen.fillText(words, at + 4, TOP - 8);
  }

  // drawScale writes the limits at the right edge, or the range where it is fitted.
  drawScale({ pen, ink, y, width, foot }, low, high) {
    const shown = (this.warn || []).map((w) => w * US).filter((w) => w > low && w < high);
    const values = shown.length === 2 ? shown : [low, high];
    for (const w of values) {
      const at = Math.min(Math.max(y(w) + 4, TOP + 9), foot - 1);
      const words = (w / US).toFixed(shown.length === 2 ? 0 : this.places);
      write(pen, words, width - 4 - pen.measureText(words).width, at, ink.soft, ink.sheet);
    }
  }

  // drawMarks draws the place chosen and the pencil ticks.
  drawMarks({ pen, ink, x, y, height, width }, { chosen, ticks }) {
    pen.lineWidth = 1;
    if (chosen && chosen.lane === this) {
      const at = x(this.pulses.at[chosen.index]);
      const level = y(this.pulses.width[chosen.index]);
      pen.strokeStyle = ink.ink;
      pen.setLineDash([2, 3]);
      line(pen, at, TOP - 4, at, height);
      pen.setLineDash([]);
      pen.beginPath();
      pen.arc(at, level, 5, 0, 7);
      pen.stroke();
    }
    pen.strokeStyle = pen.fillStyle = ink.pencil;
    ticks.forEach((t, i) => {
      if (t === null) return;
      const at = x(t);
      if (at < -8 || at > width + 8) return;
      pen.lineWidth = 1.75;
      line(pen, at - 3, height, at + 3, height - 14);
      pen.lineWidth = 0.75;
      line(pen, at, TOP, at, height - 8);
      pen.fillText(String(i + 1), at + 5, height - 4);
    });
  }

  // nearest is the pulse that begins nearest to t, or the one that t lies in.
  nearest(t) {
    const { at, width, length } = this.pulses;
    const next = atOrAfter(at, t);
    if (next === 0) return 0;
    if (next === length || t <= at[next - 1] + width[next - 1] / 1e12) return next - 1;
    return t - at[next - 1] < at[next] - t ? next - 1 : next;
  }

  // nearestEdge is the edge nearest to t in a view that shows edges.
  nearestEdge(t, view) {
    const edges = this.slot ? [] : this.edges(view);
    return edges.reduce((best, edge) => (Math.abs(edge - t) < Math.abs(best - t) ? edge : best), Infinity);
  }
}
