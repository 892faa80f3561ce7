// A backup is sent as it is; the library that comes of it is opened.
const form = document.getElementById("restore");
const line = document.getElementById("restoring");

async function restore() {
  const { library, file } = form.elements;
  line.textContent = "Sending and checking every file …";
  const response = await fetch(`/restore?library=${encodeURIComponent(library.value)}`, { method: "POST", body: file.files[0] });
  const told = await response.json();
  if (response.ok) location.href = told.where;
  else line.textContent = [told.error, told.hint].filter(Boolean).join(" ");
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  restore().catch(() => { line.textContent = "The page's server did not answer. Is it still running?"; });
});
