// The strip at the foot of the page: what is read at the place chosen, and
// between the two pencil ticks.
import { BROKEN, EXTRA, NO_INTERVAL, START_UP, instant, intervalBefore } from './unpack.js';
import { decimal, length, visible } from './words.js';

const words = [[EXTRA, 'extra pulse'], [BROKEN, 'with a break in it, or beside a rejected part'], [START_UP, 'start-up'], [NO_INTERVAL, 'none before it']];

export class Reading {
  constructor(footer) {
    this.strip = footer.querySelector('[role=status]');
    this.between = footer.querySelector('.between');
    this.pencils = [...footer.querySelectorAll('[data-pencil]')];
    for (const button of this.pencils) {
      button.addEventListener('click', () => this.pencil(Number(button.dataset.pencil)));
    }
  }

  pencil(which) {
    if (which === 0) this.chart.rubOut();
    else this.chart.tickHere(which - 1);
  }

  // show reads the place that a chart has chosen.
  show(chart) {
    if (this.chart && this.chart !== chart) this.chart.release();
    this.chart = chart;
    if (chart.marks.chosen) this.read(chart.marks.chosen);
    this.measure(chart);
  }

  // read fills the strip with one row of `pulses`.
  read({ lane, index }) {
    const { pulses } = lane;
    const since = intervalBefore(pulses, index);
    const time = decimal(instant(pulses, index), 12);
    const width = decimal(BigInt(pulses.width[index]), 6);
    Object.assign(this.strip.dataset, {
      channel: lane.name, timeS: time, widthUs: width, intervalUs: since === null ? '' : decimal(since, 6),
    });
    const micros = (picos) => (Number(picos) / 1e6).toFixed(lane.places);
    const parts = [
      `${time.slice(0, -6)} s`,
      `${lane.slot ? 'spacing' : 'width'} ${micros(pulses.width[index])} us`,
      since === null ? '' : `interval ${micros(since)} us`,
      `pulse ${index + 1} of ${pulses.length}`,
      ...words.filter(([mark]) => pulses.mark[index] & mark).map(([, word]) => word),
    ];
    const name = document.createElement('b');
    name.textContent = visible(lane.name);
    this.strip.replaceChildren(name, ` ${parts.filter(Boolean).join(', ')}`);
  }

  // measure tells what lies between the ticks.
  measure({ marks, capture }) {
    const [one, two] = marks.ticks;
    const at = (t) => `${(t + capture.start_s).toFixed(7)} s`;
    let told = '';
    if (one !== null) told = `Tick 1 at ${at(one)}`;
    if (two !== null) told += `${told ? '; tick' : 'Tick'} 2 at ${at(two)}`;
    if (one !== null && two !== null) told += `; between them ${length(Math.abs(two - one), 4)}`;
    this.between.textContent = told;
    this.between.hidden = !told;
    for (const button of this.pencils) {
      if (button.dataset.pencil === '0') button.hidden = !told;
      else button.disabled = !marks.chosen;
    }
  }
}
