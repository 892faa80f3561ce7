// The size of the pictures on a sheet, by a slider; it stays for every sheet of its kind in this browser.
const LEAST_PX = 170, GAP_PX = 12, CAPTION_PX = 52;
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
    const list = document.querySelectorAll(".tiles");
    if (list.length !== 1 || list[0].querySelector("[data-tall]")) return;
    const { width, top } = list[0].getBoundingClientRect();
    const [count, high] = [list[0].children.length, window.innerHeight - top - window.scrollY];
    for (let px = Number(slider.value); px >= LEAST_PX; px -= 10) {
      const columns = Math.floor((width + GAP_PX) / (px + GAP_PX));
      const tile = (width - (columns - 1) * GAP_PX) / columns;
      if (Math.ceil(count / columns) * (0.75 * tile + CAPTION_PX + GAP_PX) > high && px - 10 >= LEAST_PX) continue;
      slider.value = px;
      set(px);
      return;
    }
  }
  slider.addEventListener("input", () => {
    set(slider.value);
    try { localStorage.setItem(key, slider.value); } catch { /* not kept */ }
  });
}
