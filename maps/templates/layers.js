// What stands on the map. Each layer has its own pane, so that its place in the stack is fixed.
const INK = 'colour(INK)';
const calm = window.matchMedia('(prefers-reduced-motion: reduce)').matches;
if (calm) {
  map._zoomAnimated = false;
  map.options.inertia = false;
  map.panBy = (offset) => L.Map.prototype.panBy.call(map, offset, { animate: false });
}
// Dots, lines and signs grow with a wall; the areas of the dots keep their ratios.
let dotFactor = 1;
let enlargedLooks = new Map();
let ringLooks = {};
// The view comes first: what is laid on a map that moves afterwards is drawn twice.
fitAll();
// A large network is painted, not drawn.
const many = data.traps.id.length > 1500;
const renderers = {};
const layers = {};
['refuges', 'zones', 'obstacles', 'links', 'marks', 'chosen', 'traps', 'letters', 'suggestions'].forEach((name, k) => {
  map.createPane(name).style.zIndex = 400 + 10 * k;
  renderers[name] = many && name === 'traps' ? L.canvas({ pane: name, padding: 0.2 }) : L.svg({ pane: name, padding: 0.5 });
  layers[name] = L.layerGroup().addTo(map);
});

// A photo of the user's own lies under everything; zones let it through.
if (data.aerial) {
  map.createPane('aerial').style.zIndex = 390;
  const photo = L.imageOverlay(data.aerial.uri, data.aerial.bounds, { pane: 'aerial', alt: '', className: 'aerial' });
  layers.aerial = L.layerGroup([photo]);
}

function styled(name, options) {
  return { pane: name, renderer: renderers[name], ...options };
}

// Three weights of mark: full when zoomed in, light for the whole site, lighter on a small screen.
const MARK_LINES = {
  B: { weight: 5 },
  Q: { weight: 5, dashArray: '0.1 9', lineCap: 'round' },
  b: { weight: 3.5, dashArray: '12 6' },
  q: { weight: 3.5, dashArray: '9 4 2 4' },
};
const MARK_LINES_FAR = {
  B: { weight: 3.2 },
  Q: { weight: 3, dashArray: '0.1 5.5', lineCap: 'round' },
  b: { weight: 2.4, dashArray: '7 4' },
  q: { weight: 2.4, dashArray: '6 3 1.5 3' },
};
const MARK_LINES_SMALL = {
  B: { weight: 2.2 },
  Q: { weight: 2.2, dashArray: '0.1 4', lineCap: 'round' },
  b: { weight: 1.8, dashArray: '5 3' },
  q: { weight: 1.8, dashArray: '5 2 1 2' },
};
const MARK_RINGS = {
  B: { shape: 'circle', weight: 2.6 },
  Q: { shape: 'square', weight: 3, dashArray: '0.1 4.6', lineCap: 'round' },
  b: { shape: 'diamond', weight: 2.4, dashArray: '5 3' },
  q: { shape: 'hexagon', weight: 2, dashArray: '4 2 1 2' },
};
const KNOWN_KINDS = { water: 'url(#fill-water)', bunker: 'url(#fill-bunker)', building: 'url(#fill-building)' };

// One label that follows the pointer. Leaflet's own binding would make every shape a tab stop; the
// keyboard reaches zones and traps through the table and the search box.
const label = L.tooltip({ direction: 'top', offset: [0, -8] });

function nameOf(id, name) {
  return name && name !== id ? say('map_script.named', undefined, { id, name }) : id;
}

function named(shape, text) {
  const words = typeof text === 'function' ? text : () => text;
  const follow = (event) => label.setContent(textElement('bdi', words())).setLatLng(event.latlng).addTo(map);
  return shape.on({ mouseover: follow, mousemove: follow, mouseout: () => label.remove() });
}

function drawFeatures(name, line, fillOf) {
  for (const [id, kind, [form, parts]] of data[name]) {
    const look = { color: line, weight: 1, fillOpacity: 1, fillColor: fillOf(kind) };
    const shape = form === 'area'
      ? L.polygon(parts, styled(name, look))
      : L.polyline(parts.map((part) => part[0]), styled(name, { color: line, weight: 5 }));
    named(shape, say('map_script.named', undefined, { id, name: kind })).addTo(layers[name]);
  }
}
drawFeatures('refuges', 'colour(REFUGE_LINE)', () => 'url(#fill-refuge)');
drawFeatures('obstacles', 'colour(OBSTACLE_EDGE)', (kind) => KNOWN_KINDS[kind] || 'url(#fill-other)');

const zones = data.zones.id.map((id, k) => {
  const shape = L.polygon(data.zones.shape[k], styled('zones', {
    color: 'colour(ZONE_EDGE)', weight: 1, fillOpacity: 1, className: 'zone',
  }));
  const name = data.zones.name[k];
  named(shape, nameOf(id, name));
  shape.on('click', () => choose('zone', k, 'map'));
  return shape.addTo(layers.zones);
});

function shapeOf(k) {
  return data.shapes[data.traps.design[k] % data.shapes.length];
}

const traps = many ? [] : data.traps.id.map((id, k) => {
  const dot = new Glyph(data.traps.at[k], styled('traps', { shape: shapeOf(k), className: 'trap' }));
  named(dot, id);
  dot.on('click', (event) => { L.DomEvent.stop(event); choose('trap', k, 'map'); });
  return dot.addTo(layers.traps);
});

// Drawn when they are first asked for: one line of many parts.
function drawLinks() {
  const steps = unpackNumbers(data.links);
  const lines = [];
  let first = 0;
  for (let k = 0; k < steps.length; k += 2) {
    first += steps[k];
    lines.push([data.traps.at[first], data.traps.at[first + steps[k + 1]]]);
  }
  L.polyline(lines, styled('links', {
    color: INK, weight: 1, dashArray: '3 3', interactive: false, smoothFactor: 0,
  })).addTo(layers.links);
}

data.suggestions.forEach(([number, at, sentence], k) => {
  const icon = L.divIcon({ className: 'place', html: textElement('span', String(number)), iconSize: [24, 24], iconAnchor: [12, 24] });
  const marker = L.marker(at, { icon, pane: 'suggestions', riseOnHover: true });
  marker.on('click', () => choose('suggestion', k, 'map')).addTo(layers.suggestions);
  const button = marker.getElement();
  button.setAttribute('aria-label', say('map_script.suggestion_said', number, { sentence }));
  button.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter' && event.key !== ' ') return;
    event.preventDefault();
    choose('suggestion', k, 'map');
  });
});

// Signs of places that would cover each other stand one above the other, each on a stem to its place.
let signs = [];

function spreadSigns() {
  const taken = [];
  const size = Math.round(24 * dotFactor);
  const SIGN = size + 3;
  layers.suggestions.eachLayer((marker) => {
    const at = map.latLngToLayerPoint(marker.getLatLng());
    let lift = 0;
    while (taken.some(([x, y]) => Math.abs(x - at.x) < SIGN && Math.abs(y - (at.y - lift)) < SIGN)) lift += SIGN;
    taken.push([at.x, at.y - lift]);
    const sign = marker.getElement();
    if (!sign) return;
    sign.style.width = sign.style.height = `${size}px`;
    sign.style.fontSize = `${Math.round(13 * dotFactor)}px`;
    sign.style.lineHeight = `${Math.round(20 * dotFactor)}px`;
    sign.style.marginLeft = `${-size / 2}px`;
    sign.style.marginTop = `${-size - lift}px`;
    sign.style.setProperty('--stem', `${lift}px`);
  });
  signs = map.hasLayer(layers.suggestions) ? taken.map(([x, y]) => [x - size / 2, y - size, size]) : [];
}
map.on('zoomend resize', spreadSigns);

function zoneFill(state) {
  return state in data.chars.state ? `url(#fill-${state})` : data.classes.colours[Number(state)];
}

// Dots of one look share one object: a painted map makes one stamp of it.
const GONE_LOOK = { radius: 2, color: 'colour(PAPER)', weight: 0.8, fillColor: 'colour(GONE)', fillOpacity: 1, inner: '' };
const VOID_LOOK = { radius: 6, color: INK, weight: 1.6, fillColor: 'colour(PAPER)', fillOpacity: 0.55, inner: 'cross' };
const UNCHECKED_LOOK = { ...VOID_LOOK, inner: 'bar' };
const ZERO_LOOK = { radius: 4, color: INK, weight: 1.5, fillColor: 'colour(PAPER)', fillOpacity: 1, inner: '' };
const CAUGHT_LOOK = { color: 'colour(PAPER)', weight: 1.3, fillColor: INK, fillOpacity: 0.88, inner: '' };
const caughtLooks = new Map();

function caughtLook(rate) {
  const exact = Math.max(3.5, data.dot * Math.sqrt(rate));
  const radius = many ? Math.round(2 * exact) / 2 : exact;
  if (!caughtLooks.has(radius)) caughtLooks.set(radius, { ...CAUGHT_LOOK, radius });
  return caughtLooks.get(radius);
}

function dotLook(week, k) {
  const status = statusOf(week).charAt(k);
  if (status === ' ') return enlarged(GONE_LOOK);
  if (status !== 'o') return enlarged(status === 'n' ? UNCHECKED_LOOK : VOID_LOOK);
  const rate = rateOf(adultsOf(week)[k], nightsOf(week)[k]);
  return enlarged(rate ? caughtLook(rate) : ZERO_LOOK);
}

function enlarge(factor) {
  dotFactor = factor;
  enlargedLooks = new Map();
  ringLooks = {};
}

// A look for the room: larger, its line wider, its dashes longer in the same measure.
function enlarged(look) {
  if (dotFactor === 1) return look;
  if (!enlargedLooks.has(look)) enlargedLooks.set(look, enlargedLook(look));
  return enlargedLooks.get(look);
}

function enlargedLook(look) {
  const larger = { ...look, weight: look.weight * dotFactor };
  if (look.radius) larger.radius = look.radius * dotFactor;
  if (look.dashArray) larger.dashArray = look.dashArray.split(' ').map((part) => part * dotFactor).join(' ');
  return larger;
}

const crowd = many && new Crowd(data.traps.at, styled('traps', { weight: CAUGHT_LOOK.weight })).addTo(layers.traps);
if (many) {
  named(crowd, () => data.traps.id[crowd.under]);
  crowd.on('click', (event) => { L.DomEvent.stop(event); choose('trap', crowd.under, 'map'); });
}

function isNear() {
  return map.getZoom() >= map.getBoundsZoom(data.bounds) + 0.9;
}

function drawMarks(week) {
  const near = isNear();
  const far = map.getSize().x < 500 ? MARK_LINES_SMALL : MARK_LINES_FAR;
  layers.marks.clearLayers();
  const evidence = evidenceOf(week);
  if (evidence) {
    evidence.letters.forEach((letter, k) => {
      if (letter) addLetter(data.zones.middle[k], letter, [8, -10], 'letter state');
    });
  }
  data.zones.id.forEach((_, k) => {
    const letter = data.zones.mark[week].charAt(k);
    if (letter in MARK_LINES) drawZoneMark(k, letter, near ? MARK_LINES : far);
  });
  drawTrapMarks(week, near);
  spreadLetters();
}

function drawTrapMarks(week, near) {
  const rings = [];
  [...markOf(week)].forEach((letter, k) => {
    if (!(letter in MARK_RINGS)) return;
    const radius = dotLook(week, k).radius + (near ? 5 : 4);
    rings.push({ at: data.traps.at[k], letter, radius });
    if (near || data.traps.zone[k] < 0) addLetter(data.traps.at[k], letter, [-radius * 0.6, radius + 8]);
  });
  if (many) paintRings(rings); else rings.forEach(drawRing);
}

function drawZoneMark(k, letter, lines) {
  const outer = data.zones.shape[k].map((rings) => [rings[0]]);
  const look = { fill: false, interactive: false, lineJoin: 'round' };
  const line = enlarged(lines[letter]);
  L.polygon(outer, styled('marks', { ...look, color: 'colour(PAPER)', weight: line.weight * 1.7 })).addTo(layers.marks);
  L.polygon(outer, styled('marks', { ...look, color: INK, ...line, className: `zone-mark-${letter}` })).addTo(layers.marks);
  addLetter(data.zones.middle[k], letter, [8, 8]);
}

const HALO = 1.6;

// The white edge is a ring of its own.
function drawRing({ at, letter, radius }) {
  const ring = enlarged(MARK_RINGS[letter]);
  const look = { radius, fill: false, interactive: false };
  new Glyph(at, styled('marks', { ...look, shape: ring.shape, color: 'colour(PAPER)', weight: ring.weight + HALO })).addTo(layers.marks);
  new Glyph(at, styled('marks', { ...look, color: INK, ...ring, className: `trap-mark-${letter}` })).addTo(layers.marks);
}

// A stamp carries its own white edge; rings lie under the dots of their pane.
function paintRings(rings) {
  const stampsShown = rings.map(({ letter, radius }) => {
    const ring = enlarged(MARK_RINGS[letter]);
    ringLooks[`${letter} ${radius}`] ??= { ...ring, radius, fill: false, color: INK, halo: HALO };
    return stampOf(ring.shape, ringLooks[`${letter} ${radius}`]);
  });
  new Crowd(rings.map(({ at }) => at), styled('traps', { interactive: false })).show(stampsShown).addTo(layers.marks).bringToBack();
}

// The side of a letter's box in px; the style gives the large view its size.
function letterSide() {
  if (!document.body.classList.contains('projected')) return 17;
  return 1.5 * Math.max(18, Math.min(0.01 * window.innerWidth, 40));
}

function addLetter(at, letter, anchor, css = 'letter') {
  const side = letterSide();
  const icon = L.divIcon({ className: css, html: textElement('span', letter), iconSize: [side, side], iconAnchor: anchor.map((part) => part * side / 17) });
  L.marker(at, { icon, pane: 'letters', interactive: false, keyboard: false }).addTo(layers.marks);
}

// A letter that would lie on a sign or on a letter before it goes one place aside, if one is free there.
const ASIDE = [[0, 0], [0, 1], [1, 0], [-1, 0], [0, -1], [1, 1], [-1, 1], [1, -1], [-1, -1]];

function spreadLetters() {
  const side = letterSide();
  const taken = [...signs];
  const free = (left, top) => !taken.some(([x, y, wide]) => left < x + wide && x < left + side && top < y + wide && y < top + side);
  layers.marks.eachLayer((marker) => {
    if (!marker.options.icon) return;
    const [x, y] = marker.options.icon.options.iconAnchor;
    const at = map.latLngToLayerPoint(marker.getLatLng()).subtract([x, y]);
    const places = ASIDE.map(([right, down]) => [right * (side + 1), down * (side + 1)]);
    const [right, down] = places.find(([a, b]) => free(at.x + a, at.y + b)) || [0, 0];
    taken.push([at.x + right, at.y + down, side]);
    const letter = marker.getElement();
    if (!letter) return;
    letter.style.marginLeft = `${right - x}px`;
    letter.style.marginTop = `${down - y}px`;
  });
}

// Evidence against the limits is worked out for the last week only; earlier weeks show catch rates.
function evidenceOf(week) {
  return week === data.weeks.length - 1 ? data.evidence : null;
}

function drawWeek(week) {
  const evidence = evidenceOf(week);
  zones.forEach((shape, k) => {
    const fillColor = evidence ? evidence.fills[evidence.zone.charAt(k)] : zoneFill(data.zones.state[week].charAt(k));
    if (shape.options.fillColor !== fillColor) shape.setStyle({ fillColor });
  });
  if (many) crowd.show(data.traps.id.map((_, k) => stampOf(shapeOf(k), dotLook(week, k))));
  traps.forEach((dot, k) => {
    const look = dotLook(week, k);
    dot.options.inner = look.inner;
    dot.setStyle(look);
    dot.setRadius(look.radius);
  });
  drawMarks(week);
}

// Painted dots lie over the zones and take their clicks, so a click beside every dot asks for the zone.
if (many) {
  map.getPane('marks').style.pointerEvents = 'none';
  map.on('click', (event) => {
    const k = zones.findIndex((shape) => shape._containsPoint(event.layerPoint));
    if (k >= 0) choose('zone', k, 'map');
  });
}

let wasNear = false;
map.on('zoomend', () => {
  if (isNear() !== wasNear) drawMarks(currentWeek); else spreadLetters();
  wasNear = isNear();
});

function fitAll() {
  map.fitBounds(data.bounds, { animate: false, padding: [12, 12] });
}

const north = L.control({ position: 'topright' });
north.onAdd = () => {
  const box = textElement('div', say('map_script.north'), 'north');
  box.setAttribute('role', 'img');
  box.setAttribute('aria-label', say('map_script.north_up'));
  const arrow = svgElement('svg', { viewBox: '0 0 18 26', 'aria-hidden': 'true' });
  arrow.append(svgElement('path', { d: 'M9 1L16 25L9 19L2 25z', fill: INK }));
  box.append(arrow);
  return box;
};
north.addTo(map);
for (const way of ['in', 'out']) {
  const button = map.getContainer().querySelector(`.leaflet-control-zoom-${way}`);
  button.title = say(`map_script.zoom_${way}`);
  button.setAttribute('aria-label', button.title);
}
const ruler = L.control.scale({ maxWidth: 140 }).addTo(map);

document.querySelectorAll('[data-layer]').forEach((box) => {
  const apply = () => {
    const layer = layers[box.dataset.layer];
    if (box.checked && box.dataset.layer === 'links' && !layer.getLayers().length) drawLinks();
    if (box.checked) map.addLayer(layer); else map.removeLayer(layer);
    // What is put back is painted last.
    if (many && map.hasLayer(crowd)) crowd.bringToFront();
    if (box.dataset.layer === 'aerial') map.getContainer().classList.toggle('over-photo', box.checked);
    if (box.dataset.layer === 'suggestions') { spreadSigns(); spreadLetters(); }
  };
  box.addEventListener('change', apply);
  apply();
});
document.getElementById('whole').addEventListener('click', fitAll);
