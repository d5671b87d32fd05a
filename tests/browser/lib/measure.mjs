// Runs in the page: sizes of what is pressed, sizes and contrast of what is read, and whether the page runs out of the side.
// Contrast as in WCAG 2.2, "relative luminance" and "contrast ratio" (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio).
export function measure() {
  const boxOf = (element) => {
    const box = element.getBoundingClientRect();
    return { left: box.left + scrollX, top: box.top + scrollY, right: box.right + scrollX, bottom: box.bottom + scrollY, width: box.width, height: box.height };
  };
  const isSeen = (element) => {
    const box = element.getBoundingClientRect();
    // What is folded away has a place and is not seen.
    return element.checkVisibility({ visibilityProperty: true }) && 0 < box.width && 0 < box.height;
  };
  const nameOf = (element) =>
    `${element.tagName.toLowerCase()}${element.className && typeof element.className === "string" ? "." + element.className.split(" ").join(".") : ""} "${(element.getAttribute("aria-label") ?? element.innerText ?? element.value ?? "").trim().replace(/\s+/g, " ").slice(0, 40)}"`;

  const pressed = [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary")].filter(isSeen);
  const targets = pressed.map((element) => {
    const box = boxOf(element);
    const parent = element.parentElement;
    // A link within a sentence is as high as its line (WCAG 2.2, 2.5.8, "inline").
    const inSentence = element.tagName === "A" && [...parent.childNodes].some((node) => node !== element && node.textContent.trim() !== "");
    const isAction = element.tagName === "BUTTON" || element.classList.contains("button") || element.type === "submit" || element.tagName === "SUMMARY";
    const label = element.type === "checkbox" || element.type === "radio" ? element.closest("label") : null;
    const whole = label ? boxOf(label) : box;
    return { name: nameOf(element), inSentence, isAction, ...whole };
  });

  const gaps = [];
  const actions = targets.filter((target) => target.isAction);
  for (const [index, one] of actions.entries()) {
    for (const other of actions.slice(index + 1)) {
      const across = Math.max(other.left - one.right, one.left - other.right);
      const down = Math.max(other.top - one.bottom, one.top - other.bottom);
      gaps.push({ between: `${one.name} and ${other.name}`, gap: Math.max(across, down) });
    }
  }

  const canvas = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
  const rgba = (color) => {
    canvas.clearRect(0, 0, 1, 1);
    canvas.fillStyle = color;
    canvas.fillRect(0, 0, 1, 1);
    const [red, green, blue, alpha] = canvas.getImageData(0, 0, 1, 1).data;
    return [red, green, blue, alpha / 255];
  };
  const behind = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const color = rgba(getComputedStyle(at).backgroundColor);
      if (0 < color[3]) return color;
    }
    return [255, 255, 255, 1];
  };
  const luminance = (color) => {
    const [red, green, blue] = color.slice(0, 3).map((channel) => {
      const part = channel / 255;
      return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
  };
  const contrast = (one, other) => {
    const [light, dark] = [luminance(one), luminance(other)].sort((a, b) => b - a);
    return (light + 0.05) / (dark + 0.05);
  };

  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const element = node.parentElement;
    if (!node.textContent.trim() || !isSeen(element) || element.closest("script, style, noscript, title, desc")) continue;
    const style = getComputedStyle(element);
    // A drawing's text is as large as the drawing is drawn.
    const drawing = element.closest("svg");
    const scale = drawing ? Math.abs(element.getScreenCTM?.()?.d ?? 1) : 1;
    texts.push({
      text: node.textContent.trim().replace(/\s+/g, " ").slice(0, 40),
      size: Math.round(parseFloat(style.fontSize) * scale * 10) / 10,
      contrast: Math.round(contrast(rgba(drawing ? style.fill : style.color), behind(element)) * 100) / 100,
    });
  }
  for (const field of pressed.filter((element) => ["INPUT", "SELECT", "TEXTAREA"].includes(element.tagName))) {
    const style = getComputedStyle(field);
    const text = (field.value || field.placeholder || field.name).slice(0, 40);
    texts.push({ text, size: parseFloat(style.fontSize), contrast: contrast(rgba(style.color), behind(field)) });
  }

  // What a field says while it is empty has to be read to its end.
  const cut = pressed.filter((field) => field.placeholder).flatMap((field) => {
    const style = getComputedStyle(field, "::placeholder");
    canvas.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const room = field.clientWidth - parseFloat(getComputedStyle(field).paddingLeft) - parseFloat(getComputedStyle(field).paddingRight);
    const wide = canvas.measureText(field.placeholder).width;
    return room + 0.5 < wide ? [{ text: field.placeholder, by: Math.round(wide - room) }] : [];
  });

  return {
    targets, gaps, texts, cut,
    below: Math.max(0, document.documentElement.scrollHeight - innerHeight),
    hand: document.body.classList.contains("hand"),
    over: Math.max(0, document.documentElement.scrollWidth - document.documentElement.clientWidth),
    headings: document.querySelectorAll("h1").length,
    title: document.title,
    lang: document.documentElement.lang,
  };
}
