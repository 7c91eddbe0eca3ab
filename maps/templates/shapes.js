const { say, rate: rateText, written } = languageOf(data.said);

// Shapes of equal area for traps and rings; the same outlines as maps/glyphs.py draws in the key.
const TURN = Math.PI / 180;
const CORNERS = { square: [4, 45], triangle: [3, -90], diamond: [4, 0], hexagon: [6, 0] };

function outline(shape, x, y, radius) {
  const corners = CORNERS[shape];
  if (!corners) {
    return `M${x - radius} ${y}a${radius} ${radius} 0 1 0 ${2 * radius} 0` +
      `a${radius} ${radius} 0 1 0 ${-2 * radius} 0z`;
  }
  const [count, start] = corners;
  const reach = radius * Math.sqrt(2 * Math.PI / (count * Math.sin(360 / count * TURN)));
  const points = [];
  for (let k = 0; k < count; k += 1) {
    const angle = (start + k * 360 / count) * TURN;
    points.push(`${(x + reach * Math.cos(angle)).toFixed(2)} ${(y + reach * Math.sin(angle)).toFixed(2)}`);
  }
  return `M${points.join('L')}z`;
}

const Glyph = L.CircleMarker.extend({
  _updatePath() {
    const { shape, inner } = this.options;
    const { x, y } = this._point;
    const r = this._radius;
    if (this._renderer instanceof L.Canvas) { paintGlyph(this, x, y, r); return; }
    let path = outline(shape, x, y, r);
    const d = r * 0.7;
    if (inner === 'cross') {
      path += `M${x - d} ${y - d}L${x + d} ${y + d}M${x - d} ${y + d}L${x + d} ${y - d}`;
    } else if (inner === 'bar') {
      path += `M${x - d} ${y}H${x + d}`;
    }
    this._renderer._setPath(this, path);
  },
});

// Each look of a dot or ring is painted once and then stamped on whole pixels.
const stamps = new Map();
const FINER = L.Browser.retina ? 2 : 1;

function stampOf({ shape, inner, fill, fillColor, fillOpacity, color, weight, dashArray, lineCap, halo }, r) {
  const key = `${shape}${inner}${r}${fill && fillColor}${fillOpacity}${color}${weight}${dashArray}${halo}`;
  if (stamps.has(key)) return stamps.get(key);
  const half = Math.ceil(r * 1.6 + weight + 1);
  const sheet = document.createElement('canvas');
  sheet.width = sheet.height = 2 * half * FINER;
  const ctx = sheet.getContext('2d');
  ctx.scale(FINER, FINER);
  ctx.translate(half, half);
  const d = r * 0.7;
  const cross = inner === 'cross' ? `M${-d} ${-d}L${d} ${d}M${-d} ${d}L${d} ${-d}` : inner === 'bar' ? `M${-d} 0H${d}` : '';
  const path = new Path2D(outline(shape, 0, 0, r) + cross);
  if (fill) { ctx.globalAlpha = fillOpacity; ctx.fillStyle = fillColor; ctx.fill(path); }
  ctx.globalAlpha = 1;
  ctx.lineCap = lineCap;
  for (const [ink, wide] of halo ? [['colour(PAPER)', weight + halo], [color, weight]] : [[color, weight]]) {
    ctx.setLineDash(ink === color && dashArray ? String(dashArray).split(/[ ,]+/).map(Number) : []);
    ctx.strokeStyle = ink;
    ctx.lineWidth = wide;
    ctx.stroke(path);
  }
  stamps.set(key, { sheet, half });
  return stamps.get(key);
}

function paintGlyph(glyph, x, y, r) {
  if (!glyph._renderer._drawing || glyph._empty()) return;
  const { sheet, half } = stampOf(glyph.options, Math.round(2 * r) / 2);
  glyph._renderer._ctx.drawImage(sheet, Math.round(x) - half, Math.round(y) - half, 2 * half, 2 * half);
}

function textElement(tag, text, css) {
  const element = document.createElement(tag);
  element.textContent = text;
  if (css) element.className = css;
  return element;
}

function svgElement(tag, attributes, text) {
  const element = document.createElementNS('http://www.w3.org/2000/svg', tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  if (text !== undefined) element.textContent = text;
  return element;
}
