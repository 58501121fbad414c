// Paper and pens: a canvas that keeps to its place and to the page's colours.

const names = ['paper', 'sheet', 'ink', 'soft', 'rule', 'band', 'fail', 'warn', 'note', 'pencil'];

// inks are the colours of the page as they stand now: light, dark or print.
export function inks() {
  const style = getComputedStyle(document.documentElement);
  return Object.fromEntries(names.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
}

// Sheet is a canvas that fills its parent's width, sharp on any screen.
export class Sheet {
  constructor(parent, label) {
    this.canvas = document.createElement('canvas');
    if (label) {
      this.canvas.setAttribute('role', 'img');
      this.canvas.setAttribute('aria-label', label);
    } else {
      this.canvas.setAttribute('aria-hidden', 'true');
    }
    parent.append(this.canvas);
  }

  // fresh returns an empty context in CSS pixels.
  fresh() {
    const { canvas } = this;
    const dots = window.devicePixelRatio || 1;
    this.width = canvas.clientWidth;
    this.height = canvas.clientHeight;
    const wide = Math.round(this.width * dots);
    const high = Math.round(this.height * dots);
    if (canvas.width !== wide || canvas.height !== high) {
      canvas.width = wide;
      canvas.height = high;
    }
    const pen = canvas.getContext('2d');
    pen.setTransform(dots, 0, 0, dots, 0, 0);
    pen.clearRect(0, 0, this.width, this.height);
    pen.font = '11px ui-monospace, "DejaVu Sans Mono", monospace';
    pen.textBaseline = 'alphabetic';
    return pen;
  }
}

// line draws from one place to another, on whole pixels where it is straight.
export function line(pen, x1, y1, x2, y2) {
  pen.beginPath();
  pen.moveTo(x1, y1);
  pen.lineTo(x2, y2);
  pen.stroke();
}

// write puts words on a ground of their own, so that a trace below does not
// run through them. It returns how wide they are.
export function write(pen, words, x, y, ink, ground) {
  const { width } = pen.measureText(words);
  pen.fillStyle = ground;
  pen.fillRect(x - 2, y - 10, width + 4, 13);
  pen.fillStyle = ink;
  pen.fillText(words, x, y);
  return width;
}

// drawColumns draws what a pen would do within each column: a bar from the
// lowest to the highest, and to where the column before left off. Bars are
// many times quicker to fill than lines are to stroke.
export function drawColumns(pen, columns, y) {
  let before = -1;
  for (let i = 0; i < columns.count; i++) {
    if (columns.pulses[i] === 0) continue;
    let high = columns.high[i];
    let low = columns.low[i];
    const drawn = before >= 0 && !columns.lifted[i];
    if (drawn && before === i - 1) {
      high = Math.max(high, columns.last[before]);
      low = Math.min(low, columns.last[before]);
    } else if (drawn) {
      line(pen, before + 0.5, y(columns.last[before]), i + 0.5, y(columns.first[i]));
    }
    const top = y(high);
    pen.fillRect(i, top - 0.6, 1, y(low) - top + 1.2);
    before = i;
  }
}
