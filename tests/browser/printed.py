"""What a page would look like on paper, without making a PDF of it."""

from playwright.sync_api import Page, ViewportSize

A4_LESS_MARGINS: ViewportSize = {"width": 688, "height": 971}

# What is no use on paper, what does not fit its width, and what cannot be read on white. A dark
# ground is printed only where it is said to be kept.
FAULTS = """() => {
  const faults = [];
  const isSeen = (one) => one.checkVisibility({ visibilityProperty: true })
    && one.getClientRects().length > 0 && getComputedStyle(one).clipPath === 'none';
  const name = (one) =>
    `<${one.localName} class="${one.getAttribute('class') ?? ''}"> ${one.textContent.trim()}`
      .replace(/\\s+/g, ' ').slice(0, 90);
  const acts = '.top, .foot, .skip, .filters, main button, main .btn, main [type=submit]';
  for (const one of document.querySelectorAll(acts))
    if (isSeen(one)) faults.push(`shows ${name(one)}`);

  // A sheet of labels has no margins.
  const wide = document.querySelector('.label-sheet') ? 794 : innerWidth;
  if (document.documentElement.scrollWidth > wide + 2) faults.push('is wider than the paper');
  for (const one of document.querySelectorAll('main *')) {
    if (!isSeen(one) || one.closest('svg, .visually-hidden')) continue;
    const { display, overflowX } = getComputedStyle(one);
    if (one.getBoundingClientRect().right > wide + 2) faults.push(`cuts ${name(one)}`);
    else if (!display.startsWith('inline') && one.matches('b, span, td, th, dd, dt, p, h2, h3, a')
      && one.scrollWidth > one.clientWidth + 2) faults.push(`has no room for ${name(one)}`);
    else if (['auto', 'scroll'].includes(overflowX) && one.scrollWidth > one.clientWidth + 2)
      faults.push(`cuts within ${name(one)}`);
  }

  const channels = (colour) => (colour.match(/[\\d.]+/g) ?? []).map(Number);
  const lightness = (colour) => colour.slice(0, 3)
    .map((value) => value / 255)
    .map((value) => value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4)
    .reduce((sum, value, n) => sum + value * [0.2126, 0.7152, 0.0722][n], 0);
  const ground = (one) => {
    for (let each = one; each; each = each.parentElement) {
      const { backgroundColor, printColorAdjust } = getComputedStyle(each);
      const colour = channels(backgroundColor);
      if (colour[3] === undefined || colour[3] > 0.5)
        return printColorAdjust === 'exact' ? colour : [255, 255, 255];
    }
    return [255, 255, 255];
  };
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const looked = new Set();
  while (texts.nextNode()) {
    const one = texts.currentNode.parentElement;
    if (!texts.currentNode.data.trim() || looked.has(one) || !isSeen(one)
      || one.closest('svg, script, template, select, .visually-hidden')) continue;
    looked.add(one);
    const found = [lightness(channels(getComputedStyle(one).color)), lightness(ground(one))];
    const contrast = (Math.max(...found) + 0.05) / (Math.min(...found) + 0.05);
    if (contrast < 3) faults.push(`prints ${name(one)} at a contrast of ${contrast.toFixed(1)}`);
  }
  return [...new Set(faults)];
}"""


def print_faults(page: Page) -> list[str]:
    """What is wrong with a page on A4, printed from a device that is set to dark."""
    page.set_viewport_size(A4_LESS_MARGINS)
    page.emulate_media(media="print", color_scheme="dark")
    faults = page.evaluate(FAULTS)
    page.emulate_media(media="screen")
    return faults
