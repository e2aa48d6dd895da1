// Fills in what takes a moment: <section id="x" data-later="/somewhere"> is replaced by the part
// with the same id of that page. Pages work without this: the part holds a link to it.
"use strict";
for (const part of document.querySelectorAll("[data-later]")) {
  (async () => {
    try {
      const answer = await fetch(part.dataset.later, { headers: { Accept: "text/html" } });
      if (!answer.ok || answer.redirected) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const found = page.getElementById(part.id);
      if (found) part.replaceWith(found);
    } catch {
      // The works' machine is away for a moment; the link stays.
    }
  })();
}
