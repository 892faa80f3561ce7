// The size of the pictures on a sheet, by a slider; it stays for every sheet of its kind in this browser.
// A picture that stands upright is drawn within a frame of 4 by 3, so its long side is the frame's short one.
const LEAST_PX = 170, LEAST_TALL_PX = 206, GAP_PX = 12, CAPTION_PX = 52, HEADING_PX = 60;
const slider = document.getElementById("tilesize");
if (slider) {
  const key = `tilesize:${slider.dataset.kind}`;
  const lists = () => document.querySelectorAll(".tiles");
  const set = (px) => { for (const list of lists()) list.style.setProperty("--tile", `${px}px`); };
  let kept = null;
  try { kept = localStorage.getItem(key); } catch { /* not kept */ }
  if (kept) { slider.value = kept; set(kept); }
  else if (slider.dataset.kind === "sheet") fit();

  // A deck that fits on one screen is shown on one screen, as long as its pictures stay large enough to judge a part; one
  // that does not fit takes as few screens as that allows.
  function fit() {
    const all = [...lists()].filter((list) => list.children.length);
    if (!all.length) return;
    const least = all.some((list) => list.querySelector("[data-tall]")) ? LEAST_TALL_PX : LEAST_PX;
    const { width, top } = all[0].getBoundingClientRect();
    const high = window.innerHeight - top - window.scrollY - (all.length - 1) * HEADING_PX;
    let px = Number(slider.value);
    for (; px > least; px -= 2) {
      const columns = Math.floor((width + GAP_PX) / (px + GAP_PX));
      const row = 0.75 * (width - (columns - 1) * GAP_PX) / columns + CAPTION_PX + GAP_PX;
      if (all.reduce((sum, list) => sum + Math.ceil(list.children.length / columns) * row, 0) <= high) break;
    }
    slider.value = px;
    set(px);
  }
  slider.addEventListener("input", () => {
    set(slider.value);
    try { localStorage.setItem(key, slider.value); } catch { /* not kept */ }
  });
}
