// What tells the entries of a key apart, and what lies under each text, as the browser has it.
// A function of the selectors of the entries; used by test_palette_pages.py only.
(keys) => {
  const SHAPES = 'path, rect, circle, ellipse, polygon, polyline, line';
  const hex = (text) => {
    const found = text.match(/[\d.]+/g);
    if (!found || !text.startsWith('rgb')) return '';
    const alpha = found.length > 3 ? Number(found[3]) : 1;
    return alpha === 0 ? '' : '#' + found.slice(0, 3).map((part) => Math.round(Number(part)).toString(16).padStart(2, '0')).join('');
  };
  const pattern = (fill) => fill.startsWith('url(') ? document.getElementById(fill.match(/#([^"')]+)/)[1]) : null;
  const geometry = (one) => ['d', 'x', 'y', 'width', 'height', 'cx', 'cy', 'r', 'points', 'transform']
    .filter((name) => one.hasAttribute(name)).map((name) => `${name}=${one.getAttribute(name)}`).join(' ');

  // A colour that lets white paper through.
  const thinned = (colour, share) => colour && '#' + [1, 3, 5].map((k) => {
    const part = parseInt(colour.slice(k, k + 2), 16);
    return Math.round(255 - (255 - part) * share).toString(16).padStart(2, '0');
  }).join('');

  // One drawn thing: its shape, and the colours and dashes of fill and line.
  const drawn = (one, at = '') => {
    const look = getComputedStyle(one);
    const owner = pattern(look.fill);
    const line = hex(look.stroke);
    const self = {
      kind: one.getAttribute('class') || '',
      shape: `${one.tagName} ${at}${geometry(one)}`,
      fill: owner ? '' : thinned(hex(look.fill), Number(look.fillOpacity)),
      line,
      dash: line && look.strokeDasharray !== 'none' ? look.strokeDasharray : '',
      thick: line ? look.strokeWidth : '',
    };
    if (!owner) return [self];
    const turned = owner.getAttribute('patternTransform') || '';
    return [self, ...[...owner.children].flatMap((child) => drawn(child, `${turned} `))];
  };
  const inside = (one) => one.closest('defs, clipPath, marker') === null;
  const look = (entry) => ({
    said: entry.textContent.trim().replace(/\s+/g, ' '),
    letter: [...entry.querySelectorAll('svg text, .sample, b')].map((one) => one.textContent).join(' '),
    parts: [...entry.querySelectorAll(SHAPES)].filter(inside).flatMap((one) => drawn(one)),
  });

  const colours = (one) => {
    const fill = getComputedStyle(one).fill;
    const owner = pattern(fill);
    if (!owner) return [hex(fill)].filter(Boolean);
    return [...owner.children].flatMap((child) => {
      const style = getComputedStyle(child);
      return [hex(style.fill), hex(style.stroke)].filter(Boolean);
    });
  };
  const behind = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const ground = hex(getComputedStyle(at).backgroundColor);
      if (ground) return ground;
    }
    return '#ffffff';
  };
  // The grounds of a text in a picture: what was painted last under its ends and its middle.
  const grounds = (text) => {
    const style = getComputedStyle(text);
    if (style.paintOrder.startsWith('stroke') && hex(style.stroke)) return [hex(style.stroke)];
    const picture = text.ownerSVGElement;
    const box = text.getBoundingClientRect();
    const earlier = [...picture.querySelectorAll(SHAPES)].filter((one) => inside(one)
      && (one.compareDocumentPosition(text) & Node.DOCUMENT_POSITION_FOLLOWING));
    return [0.05, 0.5, 0.95].flatMap((share) => {
      const at = new DOMPoint(box.left + share * box.width, box.top + box.height / 2);
      const under = earlier.filter((one) => {
        const matrix = one.getScreenCTM();
        const hit = matrix && one.isPointInFill(at.matrixTransform(matrix.inverse()));
        return hit && colours(one).length > 0 && Number(getComputedStyle(one).fillOpacity) > 0.5;
      });
      return under.length ? colours(under[under.length - 1]) : [behind(picture.parentElement)];
    });
  };
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    const owner = node.parentElement;
    if (!node.textContent.trim() || owner.closest('script, style, noscript, title, desc')) continue;
    if (!owner.checkVisibility({ visibilityProperty: true })) continue;
    const style = getComputedStyle(owner);
    const drawnText = owner.closest('svg text');
    texts.push({
      said: node.textContent.trim().slice(0, 60),
      ink: hex(drawnText ? style.fill : style.color),
      grounds: drawnText ? grounds(drawnText) : [behind(owner)],
      off: owner.closest(':disabled') !== null,
    });
  }
  const looks = Object.fromEntries(keys.map((key) => [key, [...document.querySelectorAll(key)].map(look)]));
  return { texts, looks };
}
