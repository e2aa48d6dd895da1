// Keeps a part of a page fresh: <div id="x" data-fresh="60"> is fetched again every 60 s and
// replaced, unless someone is typing in it. Pages work without this.
"use strict";
for (const part of document.querySelectorAll("[data-fresh]")) {
  const again = async () => {
    const here = document.getElementById(part.id);
    if (!here || here.contains(document.activeElement) || document.hidden) return;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      if (!answer.ok || answer.redirected) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById(part.id);
      if (fresh) here.replaceWith(fresh);
    } catch {
      // The works' machine is away for a moment; the old picture stays, with its time on top.
    }
  };
  setInterval(again, 1000 * Number(part.dataset.fresh));
}
