"""What a browser finds wrong with a page: text that is cut, runs over the edge, or lies on other
text. The boxes are the browser's own, so a mistake in our reckoning of widths shows."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from tests.chromium import Browser

A4_WIDTH: Final = 688  # CSS pixels between the margins of 14 mm, 96 to the inch
PHONE_WIDTH: Final = 360

_WRONG: Final = """
(() => {
  const wrong = [], edge = document.documentElement.clientWidth + 1;
  if (document.documentElement.scrollWidth > edge) wrong.push('the page scrolls sideways');
  const boxes = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, holder = node.parentElement;
    if (!node.data.trim() || holder.closest('title, desc, style, thead')) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const outer = holder.closest('td, th, p, li, pre, h1, h2, h3, h4, figcaption, svg');
    const limit = (outer || document.body).getBoundingClientRect();
    for (const box of range.getClientRects()) {
      if (box.width < 0.5) continue;
      const words = node.data.trim().slice(0, 40);
      if (box.right > edge || box.left < -1) wrong.push('over the edge: ' + words);
      if (box.right > limit.right + 1.5 || box.left < limit.left - 1.5)
        wrong.push('out of its cell: ' + words);
      boxes.push({box, words, node});
    }
  }
  boxes.sort((a, b) => a.box.top - b.box.top);
  for (let i = 0; i < boxes.length; i++) {
    const a = boxes[i].box;
    for (let j = i + 1; j < boxes.length && boxes[j].box.top < a.bottom - 2; j++) {
      const b = boxes[j].box;
      if (boxes[i].node !== boxes[j].node && b.bottom > a.top + 2
          && Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1.5
          && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2.5)
        wrong.push('one on the other: ' + boxes[i].words + ' | ' + boxes[j].words);
    }
  }
  return wrong.slice(0, 20);
})()
"""


async def looked_at(page: Browser, file: Path, width: int, printed: bool) -> list[str]:
    """What is wrong with a page at a width, on a screen or as it is printed."""
    await page.call(
        "Emulation.setDeviceMetricsOverride",
        width=width,
        height=900,
        deviceScaleFactor=1,
        mobile=True,  # a scroll bar takes no room, as on paper
    )
    await page.call("Emulation.setEmulatedMedia", media="print" if printed else "screen")
    await page.call("Page.navigate", url=file.as_uri())
    await page.until("document.readyState == 'complete' && location.protocol == 'file:'")
    result = await page.call("Runtime.evaluate", expression=_WRONG, returnByValue=True)
    return list(result["result"]["value"])
