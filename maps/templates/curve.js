// The season curve: rate per week with its interval, and the share of void visits below.
const CURVE = { width: 380, height: 190, left: 34, right: 10, top: 20, foot: 48, strip: 16 };

function niceTop(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  return [1, 2, 4, 5, 10].map((step) => step * power).find((top) => top >= value);
}

function drawCurve() {
  const { rate, low, high, checked, void: spoilt } = data.curve;
  const known = [...rate, ...high].filter((value) => value !== null);
  const top = niceTop(Math.max(0.1, ...known));
  const base = CURVE.height - CURVE.foot;
  const span = CURVE.width - CURVE.left - CURVE.right;
  const slot = span / rate.length;
  const x = (k) => CURVE.left + slot * (k + 0.5);
  const y = (value) => base - (base - CURVE.top) * value / top;
  const svg = svgElement('svg', { class: 'curve', viewBox: `0 0 ${CURVE.width} ${CURVE.height}`, role: 'img', 'aria-label': curveText() });
  for (const part of [0, 0.5, 1]) {
    const level = y(top * part);
    svg.append(svgElement('path', { d: `M${CURVE.left} ${level}H${CURVE.width - CURVE.right}`, class: part ? 'grid' : 'axis' }));
    svg.append(svgElement('text', { x: CURVE.left - 5, y: level + 4, 'text-anchor': 'end' }, written(top * part)));
  }
  svg.append(svgElement('text', { x: 0, y: 11 }, say('map_script.axis')));
  for (const run of runs(rate)) {
    const there = run.filter((k) => low[k] !== null && high[k] !== null);
    if (there.length > 1) {
      const up = there.map((k) => `${x(k)} ${y(high[k])}`);
      const down = there.map((k) => `${x(k)} ${y(low[k])}`).reverse();
      svg.append(svgElement('path', { d: `M${[...up, ...down].join('L')}z`, class: 'band' }));
    } else if (there.length === 1) {
      svg.append(svgElement('rect', { x: x(there[0]) - 5, y: y(high[there[0]]), width: 10, height: y(low[there[0]]) - y(high[there[0]]), class: 'band' }));
    }
    svg.append(svgElement('path', { d: `M${run.map((k) => `${x(k)} ${y(rate[k])}`).join('L')}`, class: 'line' }));
    run.forEach((k) => svg.append(svgElement('circle', { cx: x(k), cy: y(rate[k]), r: 2.6, class: 'point' })));
  }
  const spoiltShare = rate.map((_, k) => (spoilt[k] ? spoilt[k] / (checked[k] + spoilt[k]) : 0));
  const full = [0.25, 0.5, 1].find((share) => share >= Math.max(...spoiltShare));
  document.getElementById('curve-note').textContent = say('map_script.curve_note', undefined, { reference: data.designs[0], full: say('numbers.percent', 100 * full) });
  const every = Math.ceil(rate.length / 12);
  rate.forEach((_, k) => {
    const bar = Math.min(slot - 2, 18);
    const share = spoiltShare[k] / full;
    if (checked[k] + spoilt[k]) svg.append(svgElement('rect', { x: x(k) - bar / 2, y: base + 8, width: bar, height: CURVE.strip, class: 'share' }));
    if (share) svg.append(svgElement('rect', { x: x(k) - bar / 2, y: base + 8 + CURVE.strip * (1 - share), width: bar, height: CURVE.strip * share, class: 'void' }));
    if ((rate.length - 1 - k) % every === 0) svg.append(svgElement('text', { x: x(k), y: CURVE.height - 8, 'text-anchor': 'middle' }, String(data.weeks[k][0])));
  });
  svg.append(svgElement('text', { x: 0, y: base + 20 }, say('map_script.axis_void')));
  svg.append(svgElement('text', { x: 0, y: CURVE.height - 8 }, say('map_script.axis_week')));
  const now = svgElement('path', { class: 'now' });
  const here = svgElement('circle', { r: 4.5, class: 'here' });
  svg.append(now, here);
  svg.addEventListener('click', (event) => {
    const box = svg.getBoundingClientRect();
    const at = (event.clientX - box.left) * CURVE.width / box.width - CURVE.left;
    setWeek(Math.max(0, Math.min(rate.length - 1, Math.floor(at / slot))));
  });
  document.getElementById('curve').replaceChildren(svg);
  return (week) => {
    now.setAttribute('d', `M${x(week)} ${CURVE.top - 6}V${base + 8 + CURVE.strip}`);
    here.setAttribute('visibility', rate[week] === null ? 'hidden' : 'visible');
    if (rate[week] !== null) {
      here.setAttribute('cx', x(week));
      here.setAttribute('cy', y(rate[week]));
    }
  };
}

function runs(values) {
  const found = [];
  values.forEach((value, k) => {
    if (value === null) return;
    if (k === 0 || values[k - 1] === null) found.push([]);
    found[found.length - 1].push(k);
  });
  return found;
}

function curveText() {
  const parts = data.curve.rate.map((rate, k) => say('map_script.curve_week', data.weeks[k][0], { rate: rateText(rate) }));
  const weeks = parts.reduce((before, week) => say('map_script.curve_join', undefined, { weeks: before, week }));
  return say('map_script.curve', undefined, { weeks });
}
