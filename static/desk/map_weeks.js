// The strip of weeks as navigator: a click or the arrow keys, Home and End take another week without asking the office.
"use strict";
(() => {
  // Words in which no line breaks within a week's code (2027-W43), as the page's own headlines have them (layout.weeks_whole).
  window.pinarioMap.wholeWeeks = (box, text) => {
    box.replaceChildren(...text.split(/(\b\d{4}-W\d{2}\b)/).map((part, k) => {
      if (k % 2 === 0) return part;
      const week = document.createElement("span");
      week.className = "week";
      week.textContent = part;
      return week;
    }));
  };

  window.pinarioMap.weeksOf = (strip, take) => {
    const links = [...strip.querySelectorAll("a[data-week]")];
    const frame = strip.closest(".scroll");
    let at = -1;

    const show = (week) => {
      if (at === week) return;
      at = week;
      links.forEach((link, k) => {
        const here = k === week;
        const bar = link.querySelectorAll("rect")[1];
        bar.classList.toggle("chosen", here);
        bar.classList.toggle("c2", !here);
        const text = link.querySelector("text");
        if (text) text.setAttribute("class", here ? "strong" : "soft");
        if (here) link.setAttribute("aria-current", "true");
        else link.removeAttribute("aria-current");
        link.setAttribute("tabindex", here ? "0" : "-1");
      });
      if (frame.scrollWidth > frame.clientWidth) {
        const bar = links[week].getBoundingClientRect();
        frame.scrollLeft += bar.left + bar.width / 2 - frame.getBoundingClientRect().left - frame.clientWidth / 2;
      }
    };

    const go = (week) => {
      const next = Math.min(Math.max(week, 0), links.length - 1);
      show(next);
      links[next].focus({ preventScroll: true });
      take(next);
    };

    const KEYS = { ArrowRight: (k) => k + 1, ArrowLeft: (k) => k - 1, PageDown: (k) => k + 4, PageUp: (k) => k - 4, Home: () => 0, End: () => links.length - 1 };
    strip.addEventListener("keydown", (event) => {
      const move = KEYS[event.key];
      if (!move || event.altKey || event.ctrlKey || event.metaKey) return;
      event.preventDefault();
      const focused = links.indexOf(document.activeElement);
      go(move(focused < 0 ? at : focused));
    });
    links.forEach((link, k) => link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      go(k);
    }));
    return { show, links };
  };
})();
