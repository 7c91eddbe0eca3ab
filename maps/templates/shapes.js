const { say, rate: rateText, written } = languageOf(data.said);

// Shapes of equal area for traps and rings; the same outlines as maps/glyphs.py draws in the key.
const TURN = Math.PI / 180;
const CORNERS = { square: [4, 45], triangle: [3, -90], diamond: [4, 0], hexagon: [6, 0] };

// How far a shape of that area goes from its middle.
function reachOf(shape, radius) {
  if (!CORNERS[shape]) return radius;
  const [count] = CORNERS[shape];
  return radius * Math.sqrt(2 * Math.PI / (count * Math.sin(360 / count * TURN)));
}

function outline(shape, x, y, radius) {
  const corners = CORNERS[shape];
  if (!corners) {
    return `M${x - radius} ${y}a${radius} ${radius} 0 1 0 ${2 * radius} 0` +
      `a${radius} ${radius} 0 1 0 ${-2 * radius} 0z`;
  }
  const [count, start] = corners;
  const reach = reachOf(shape, radius);
  const points = [];
  for (let k = 0; k < count; k += 1) {
    const angle = (start + k * 360 / count) * TURN;
    points.push(`${(x + reach * Math.cos(angle)).toFixed(2)} ${(y + reach * Math.sin(angle)).toFixed(2)}`);
  }
  return `M${points.join('L')}z`;
}

function innerLines(inner, x, y, radius) {
  const d = radius * 0.7;
  if (inner === 'cross') return `M${x - d} ${y - d}L${x + d} ${y + d}M${x - d} ${y + d}L${x + d} ${y - d}`;
  return inner === 'bar' ? `M${x - d} ${y}H${x + d}` : '';
}

const Glyph = L.CircleMarker.extend({
  _updatePath() {
    const { shape, inner } = this.options;
    const { x, y } = this._point;
    const r = this._radius;
    this._renderer._setPath(this, outline(shape, x, y, r) + innerLines(inner, x, y, r));
  },
});

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
