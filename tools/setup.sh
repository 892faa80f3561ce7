# Shared by tools/demo and tools/test: a virtual environment of the checkout's own, with what it needs.
# Sets up nothing twice: a stamp holds the hash of pyproject.toml and of the extras that were installed.

here=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
venv="${DECK_TRIAGE_VENV:-$here/.venv}"

as_root() {
  if [ "$(id -u)" = 0 ]; then "$@"; elif command -v sudo >/dev/null; then sudo "$@"; else
    echo "These Debian packages are needed; ask an administrator to run: $*" >&2; return 1; fi
}

need_apt() {  # need_apt PACKAGE... : installs those that are missing, where apt is
  local missing=()
  for package in "$@"; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'install ok installed' || missing+=("$package")
  done
  [ ${#missing[@]} -eq 0 ] && return 0
  command -v apt-get >/dev/null || { echo "Install these first: ${missing[*]}" >&2; return 1; }
  echo "Installing with apt: ${missing[*]}" >&2
  as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null 2>&1 \
    || { as_root apt-get update -qq >/dev/null && as_root env DEBIAN_FRONTEND=noninteractive \
           apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null; }
}

find_python() {
  for name in "${DECK_TRIAGE_PYTHON:-}" python3.11 python3.12 python3.13 python3; do
    [ -n "$name" ] && command -v "$name" >/dev/null \
      && "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { command -v "$name"; return 0; }
  done
  echo "Python 3.11 or newer is needed: apt-get install python3.11 python3.11-venv" >&2
  return 1
}

need_venv() {  # need_venv EXTRAS [LIST] : makes or refreshes the environment; EXTRAS such as "[dev,pdf]" or ""
  # exactly the versions of the LIST in tools/locks are installed, each file checked against its hash; `newest`
  # instead of a list means the newest versions that pyproject.toml allows
  local python stamp list="${2:-$([ -n "$1" ] && echo tests.txt || echo demo.txt)}"
  if [ "$list" = newest ]; then list=""; else list="$here/tools/locks/$list"; fi
  python=$(find_python)
  stamp="$(cat "$here/pyproject.toml" ${list:+"$list"} <(echo "$1 $here") | sha256sum | cut -d' ' -f1)"
  if [ -x "$venv/bin/python" ] && grep -qx "$stamp" "$venv/.installed" 2>/dev/null; then return 0; fi
  if [ ! -x "$venv/bin/python" ]; then
    "$python" -m venv "$venv" 2>/dev/null || { rm -rf "$venv"; need_apt "$(basename "$(readlink -f "$python")")-venv"; "$python" -m venv "$venv"; }
  fi
  echo "Installing deck-triage into $venv" >&2
  local pip=("$venv/bin/python" -m pip install --quiet --disable-pip-version-check)
  if [ -n "$list" ]; then
    "${pip[@]}" --require-hashes -r "$list" >&2
    "${pip[@]}" --no-deps -e "$here" >&2
  else
    "${pip[@]}" --upgrade --upgrade-strategy eager -e "$here$1" >&2
  fi
  # another set of extras may have been there before: keep both known
  echo "$stamp" >> "$venv/.installed"
}
