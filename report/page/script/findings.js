// The table of events and findings: filters, and the way to the chart.

import { visible } from './words.js';

const MOST = 500; // rows shown at once
const SHAPES = { fail: '✕', warn: '▲', note: '●' };

export class Findings {
  constructor(section, capture, goTo) {
    this.body = section.querySelector('.found tbody');
    if (!this.body) return;
    this.count = section.querySelector('.count');
    this.goTo = goTo;
    this.all = [
      ...capture.events.map((e, i) => ({ ...e, index: `e${i}`, kind: e.cause, words: `event ${i + 1}: ${e.story}`, event: i + 1 })),
      ...capture.findings.map((f, i) => ({ ...f, index: `f${i}`, words: f.message, event: 1 + capture.events.findIndex((e) => e.findings.includes(i)) })),
    ];
    this.found = new Map(this.all.map((f) => [f.index, f]));
    this.filters(section.querySelector('.filters'), capture);
    this.listen(section);
  }

  filters(form, capture) {
    const offer = (label, values) => {
      const select = document.createElement('select');
      select.append(...[['', 'all'], ...values].map(([value, words]) => new Option(visible(words), value)));
      const outer = document.createElement('label');
      outer.append(`${label} `, select);
      form.append(outer, ' ');
      select.addEventListener('change', () => this.filter());
      return select;
    };
    const each = (values) => [...new Set(values)].map((v) => [v, v]);
    this.severity = offer('how grave', each(this.all.map((f) => f.severity)));
    this.kind = offer('what', each(this.all.map((f) => f.kind)));
    this.channel = offer('channel', each(this.all.flatMap((f) => f.channels)));
    this.event = offer('event', capture.events.map((e, i) => [String(i + 1), `${i + 1} (${e.cause})`]));
    form.addEventListener('submit', (e) => e.preventDefault());
  }

  filter() {
    const left = this.all.filter((f) => (!this.severity.value || f.severity === this.severity.value)
      && (!this.kind.value || f.kind === this.kind.value)
      && (!this.channel.value || f.channels.includes(this.channel.value))
      && (!this.event.value || f.event === Number(this.event.value)));
    this.body.replaceChildren(...left.slice(0, MOST).map((f, i) => this.row(f, i)));
    const more = left.length > MOST ? `, the first ${MOST} of them shown` : '';
    this.count.textContent = `${left.length} of ${this.all.length}${more}.`;
  }

  row(found, i) {
    const row = document.createElement('tr');
    row.setAttribute('role', 'row');
    row.tabIndex = i ? -1 : 0;
    row.className = found.severity + (found.index[0] === 'e' ? ' event' : '');
    Object.assign(row.dataset, { finding: found.kind, startS: String(found.start_s), index: found.index });
    const [from, to] = [found.start_s.toFixed(3), found.end_s.toFixed(3)];
    const cells = [
      from === to ? `${from} s` : `${from} to ${to} s`,
      `${SHAPES[found.severity]} ${found.severity}, ${found.kind}`,
      found.channels.join(', '), String(found.count), found.words,
    ];
    row.append(...cells.map((words, n) => {
      const cell = document.createElement('td');
      cell.setAttribute('role', 'gridcell');
      cell.className = ['when', 'what', '', 'number', ''][n];
      cell.textContent = visible(words);
      return cell;
    }));
    return row;
  }

  listen(section) {
    this.body.addEventListener('click', (e) => this.take(e.target.closest('tr')));
    this.body.addEventListener('keydown', (e) => {
      const row = e.target.closest('tr');
      const next = { ArrowDown: row?.nextElementSibling, ArrowUp: row?.previousElementSibling }[e.key];
      if (e.key === 'Enter' || e.key === ' ') this.take(row);
      else if (next) this.focus(next);
      else return;
      e.preventDefault();
    });
    for (const button of section.querySelectorAll('[data-show-event]')) {
      button.addEventListener('click', () => this.goTo(this.found.get(`e${button.dataset.showEvent}`)));
    }
  }

  // focus keeps one row of the table in the order of tabs.
  focus(row) {
    for (const other of this.body.querySelectorAll('[tabindex="0"]')) other.tabIndex = -1;
    row.tabIndex = 0;
    row.focus();
  }

  take(row) {
    if (!row) return;
    for (const other of this.body.querySelectorAll('[aria-selected]')) other.removeAttribute('aria-selected');
    row.setAttribute('aria-selected', 'true');
    this.goTo(this.found.get(row.dataset.index));
  }
}
