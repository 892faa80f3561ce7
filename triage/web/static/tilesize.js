// The size of the pictures on a sheet, by a slider; it stays for every sheet of its kind in this browser.
const slider = document.getElementById("tilesize");
if (slider) {
  const key = `tilesize:${slider.dataset.kind}`;
  const lists = () => document.querySelectorAll(".tiles");
  const set = (px) => { for (const list of lists()) list.style.setProperty("--tile", `${px}px`); };
  let kept = null;
  try { kept = localStorage.getItem(key); } catch { /* not kept */ }
  if (kept) { slider.value = kept; set(kept); }
  slider.addEventListener("input", () => {
    set(slider.value);
    try { localStorage.setItem(key, slider.value); } catch { /* not kept */ }
  });
}
