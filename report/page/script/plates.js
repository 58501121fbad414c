// Small figures of one channel: widths at each rest, intervals, intervals over
// time; and of the capture, the order of pulses in the frame.
import { Sheet, inks, line, write } from './pen.js';
import { Columns, thin } from './thin.js';
import { NO_INTERVAL, atOrAfter } from './unpack.js';
import { US, many, places, steps, visible } from './words.js';

const RESTS = 8; // that a plate has room for
const BINS = 60;

export class Plates {
  constructor(element, capture) {
    this.capture = capture;
    this.digits = places(capture.resolution_us);
    this.step = capture.resolution_us || 0.1;
    this.figures = ['rests', 'intervals', 'overTime', 'order'].map((what) => {
      const figure = document.createElement('figure');
      figure.append(document.createElement('figcaption'));
      element.append(figure);
      return { what, figure, sheet: new Sheet(figure, ' ') };
    });
  }

  // show draws the figures of a lane.
  show(lane) {
    this.lane = lane;
    this.draw();
  }

  draw() {
    const { lane } = this;
    if (!lane || lane.empty) return;
    this.name = visible(lane.name);
    lane.intervals ||= intervalsOf(lane.pulses);
    const ink = inks();
    for (const { what, figure, sheet } of this.figures) {
      const pen = sheet.fresh();
      pen.strokeStyle = pen.fillStyle = ink.ink;
      const words = this[what](pen, sheet, ink);
      figure.hidden = !words;
      if (!words) continue;
      figure.firstChild.textContent = words;
      sheet.canvas.setAttribute('aria-label', words);
    }
  }

  // rests draws a histogram of the widths of each rest about its own mean.
  rests(pen, sheet, ink) {
    const { lane } = this;
    const rests = [...lane.channel.rests].sort((a, b) => b.frames - a.frames).slice(0, RESTS).sort((a, b) => a.start_s - b.start_s);
    if (rests.length === 0) return this.widths(pen, sheet, ink);
    const { pulses } = lane;
    const sets = rests.map((rest) => {
      const from = atOrAfter(pulses.at, rest.start_s - lane.start - 1e-9);
      const to = atOrAfter(pulses.at, rest.end_s - lane.start + 1e-9);
      return pulses.width.subarray(from, to).map((w) => w / US - rest.width_us);
    });
    const reach = Math.max(...rests.map((rest) => 4 * rest.rms_us), 4 * this.step);
    const row = (sheet.height - 18) / Math.max(sets.length, 3);
    sets.forEach((set, i) => {
      drawHistogram(pen, bins(set, -reach, reach, this.step), 0, i * row + 2, sheet.width, row - 6);
      write(pen, `${rests[i].width_us.toFixed(this.digits)} us`, 2, i * row + 11, ink.soft, ink.sheet);
      pen.fillStyle = ink.ink;
    });
    drawAxis(pen, sheet, ink, -reach, reach, 'us');
    const more = lane.channel.rests.length - rests.length;
    return `${this.name}: widths at ${many(rests.length, 'rest')}, each about its own mean${more > 0 ? `; ${many(more, 'shorter rest')} left out` : ''}`;
  }

  // widths draws one histogram where the channel never rests.
  widths(pen, sheet, ink) {
    const { pulses } = this.lane;
    const [low, high] = ends(pulses.width).map((w) => w / US);
    drawHistogram(pen, bins(pulses.width.map((w) => w / US), low, high, this.step), 0, 2, sheet.width, sheet.height - 22);
    drawAxis(pen, sheet, ink, low, high, 'us');
    return `${this.name}: all widths, for it has no rest`;
  }

  intervals(pen, sheet, ink) {
    const { intervals } = this.lane;
    const set = intervals.filter((d) => d > 0);
    if (set.length === 0) return '';
    const [low, high] = this.usual(set);
    const inside = set.filter((d) => d >= low && d <= high);
    drawHistogram(pen, bins(inside, low, high, this.step), 0, 2, sheet.width, sheet.height - 22);
    drawAxis(pen, sheet, ink, low / 1e3, high / 1e3, 'ms');
    const out = set.length - inside.length;
    return `${this.name}: ${many(inside.length, 'interval')}${out ? `; ${out} farther off` : ''}`;
  }

  // usual is where nearly all intervals lie, and some room about it.
  usual(intervals) {
    const sorted = Float64Array.from(intervals).sort();
    const at = (share) => sorted[Math.min(Math.floor(share * sorted.length), sorted.length - 1)];
    const room = Math.max((at(0.995) - at(0.005)) * 0.25, 4 * this.step, at(0.5) * 1e-6);
    return [Math.max(at(0.005) - room, 0), at(0.995) + room];
  }

  // overTime draws the intervals along the capture, those far off at the edges.
  overTime(pen, sheet, ink) {
    const { pulses, intervals, start } = this.lane;
    const set = intervals.filter((d) => d > 0);
    if (set.length === 0) return '';
    const count = Math.max(Math.round(sheet.width), 1);
    const length = this.capture.duration_s;
    const columns = thin(pulses, intervals, 0, length, count, new Columns(count));
    const [low, high] = this.usual(set);
    const foot = sheet.height - 24;
    const y = (d) => foot - ((Math.min(Math.max(d, low), high) - low) / (high - low)) * (foot - 16);
    for (let i = 0; i < count; i++) {
      if (columns.pulses[i] === 0 || columns.high[i] === 0) continue;
      const from = columns.low[i] > 0 ? columns.low[i] : columns.high[i];
      line(pen, i + 0.5, y(from) + 0.75, i + 0.5, y(columns.high[i]) - 0.75);
    }
    pen.fillStyle = ink.soft;
    const digits = Math.max(0, Math.ceil(-Math.log10((high - low) / 2e3)));
    write(pen, `${(high / 1e3).toFixed(digits)} ms`, 2, 10, ink.soft, ink.sheet);
    write(pen, `${(low / 1e3).toFixed(digits)} ms`, 2, foot + 5, ink.soft, ink.sheet);
    drawAxis(pen, sheet, ink, start, start + length, 's');
    const [least, most] = ends(set);
    return `${this.name}: interval over time, ${(least / 1e3).toFixed(3)} to ${(most / 1e3).toFixed(3)} ms`;
  }

  // order draws one frame of the receiver, a bar for each channel's pulse.
  order(pen, sheet, ink) {
    const placed = this.capture.channels.filter((c) => c.place !== null && c.width_us && c.period_us).sort((a, b) => a.place - b.place);
    if (placed.length < 2) return '';
    const period = placed[0].period_us.nominal;
    const longest = Math.max(...placed.map((c) => c.offset_us + c.width_us.median));
    const end = longest * 2.5 < period ? longest * 1.3 : period;
    const row = Math.min((sheet.height - 20) / placed.length, 22);
    placed.forEach((c, i) => {
      const from = (c.offset_us / end) * sheet.width;
      const wide = (c.width_us.median / end) * sheet.width;
      pen.strokeRect(from + 0.5, i * row + 3.5, wide, row - 7);
      if (c.name === this.lane.name) pen.fillRect(from + 0.5, i * row + 3.5, wide, row - 7);
      const beside = from + wide + 5 + pen.measureText(visible(c.name)).width < sheet.width;
      pen.textAlign = beside ? 'left' : 'right';
      pen.fillText(visible(c.name), beside ? from + wide + 5 : from - 4, i * row + row / 2 + 4);
      pen.textAlign = 'left';
    });
    drawAxis(pen, sheet, ink, 0, end / 1e3, 'ms');
    const told = placed.map((c) => `${visible(c.name)} at ${c.offset_us.toFixed(0)} us${c.follows ? `, when ${visible(c.follows)} ends` : ''}`);
    return `Order in the frame: ${told.join('; ')}`;
  }
}

// intervalsOf are microseconds, 0 where a pulse has none.
function intervalsOf({ at, mark }) {
  return at.map((t, i) => (mark[i] & NO_INTERVAL ? 0 : (t - at[i - 1]) * US));
}

function ends(values) {
  let low = Infinity;
  let high = -Infinity;
  for (const v of values) {
    if (v < low) low = v;
    if (v > high) high = v;
  }
  return [low, high];
}

// bins counts values into bars no finer than the time step.
function bins(values, low, high, step) {
  const count = Math.max(Math.min(BINS, Math.round((high - low) / step)), 1);
  const counts = new Uint32Array(count);
  for (const v of values) {
    const bin = Math.floor(((v - low) / (high - low || 1)) * count);
    counts[Math.min(Math.max(bin, 0), count - 1)]++;
  }
  return counts;
}

// drawHistogram draws a histogram; a bar that counts one is still a pixel high.
function drawHistogram(pen, counts, left, top, width, height) {
  const most = Math.max(...counts, 1);
  const wide = width / counts.length;
  counts.forEach((count, i) => {
    if (count === 0) return;
    const high = Math.max((count / most) * height, 1);
    pen.fillRect(left + i * wide + 0.5, top + height - high, Math.max(wide - 1, 0.75), high);
  });
}

function drawAxis(pen, { width, height }, ink, from, to, unit) {
  const { step, marks } = steps(from, to, Math.max(width / 64, 3));
  const digits = Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
  pen.strokeStyle = ink.soft;
  pen.fillStyle = ink.soft;
  line(pen, 0, height - 16.5, width, height - 16.5);
  let end = -Infinity; // of the words before, which others would run into
  for (const mark of marks) {
    const x = ((mark - from) / (to - from)) * width;
    line(pen, x, height - 16, x, height - 12);
    const words = `${mark.toFixed(digits)} ${unit}`;
    const wide = pen.measureText(words).width;
    const left = Math.min(Math.max(x - wide / 2, 0), width - wide);
    if (left < end + 6) continue;
    pen.fillText(words, left, height - 2);
    end = left + wide;
  }
  pen.strokeStyle = pen.fillStyle = ink.ink;
}
