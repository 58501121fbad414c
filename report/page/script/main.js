// Brings the page to life: a chart, its figures and its table for each capture.
import { Chart } from './chart.js';
import { Findings } from './findings.js';
import { Plates } from './plates.js';
import { Reading } from './reading.js';

const check = JSON.parse(document.getElementById('widthwise-check').textContent);
const reading = new Reading(document.querySelector('.reading'));
const shown = [];

// open resolves when the capture's chart has its pulses.
async function open(section) {
  const capture = check.captures[Number(section.dataset.capture)];
  if (!section.querySelector('.chart')) return;
  const plates = new Plates(section.querySelector('.plates'), capture);
  const chart = new Chart(section, capture, () => {
    reading.show(chart);
    const lane = chart.marks.chosen?.lane;
    if (lane && lane !== plates.lane) plates.show(lane);
  });
  await chart.load();
  new Findings(section, capture, (found) => {
    chart.goTo(found);
    section.querySelector('.chart').scrollIntoView({ block: 'nearest' });
    chart.marks.chosen?.lane.element.scrollIntoView({ block: 'nearest' });
  });
  shown.push({ chart, plates });
  plates.show(chart.lanes.find((lane) => !lane.empty));
  new ResizeObserver(() => plates.draw()).observe(section.querySelector('.plates'));
}

function redraw() {
  for (const { chart, plates } of shown) {
    chart.draw();
    plates.draw();
  }
}

for (const query of ['(prefers-color-scheme: dark)', 'print']) matchMedia(query).addEventListener('change', redraw);
// What is folded on the screen is open on paper.
let opened = [];
window.addEventListener('beforeprint', () => {
  opened = [...document.querySelectorAll('details:not([open])')];
  for (const details of opened) details.open = true;
});
window.addEventListener('afterprint', () => {
  for (const details of opened) details.open = false;
});

for (const section of document.querySelectorAll('[data-capture]')) await open(section);
document.documentElement.dataset.ready = 'yes';
