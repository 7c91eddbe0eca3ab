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

function rateText(rate) {
  if (rate === null) return 'no rate';
  if (rate === 0) return '0';
  if (rate < 0.005) return 'under 0.01';
  return rate < 1 ? rate.toFixed(2) : rate < 10 ? rate.toFixed(1) : Math.round(rate).toLocaleString('en');
}

function counted(number, noun) {
  return `${number.toLocaleString('en')} ${noun}${number === 1 ? '' : 's'}`;
}
