# Shared by the bash tools: Debian's packages, a Python, and the checkout's own environment.

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

python_with_venv() {  # a Python that can make environments; Debian packs the module apart
  local python; python=$(find_python)
  "$python" -c 'import ensurepip, venv' 2>/dev/null || need_apt "$(basename "$(readlink -f "$python")")-venv"
  echo "$python"
}

need_venv() {  # need_venv EXTRAS [LIST] : makes or refreshes the environment, see tools/venv_of_checkout.py
  "$(python_with_venv)" "$here/tools/venv_of_checkout.py" "$1" "${2:-$([ -n "$1" ] && echo tests.txt || echo demo.txt)}"
}
