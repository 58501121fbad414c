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
