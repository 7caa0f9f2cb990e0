# Sourced by the other scripts: where the project is, how they speak, and how they get what the machine lacks.
# shellcheck shell=bash

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cache=$root/.cache
venv=${VENV:-$root/.venv}
case $venv in /*) ;; *) venv=$root/$venv ;; esac

# What makes pytest use all processors. What belongs together (the live tests) stays in one process.
# shellcheck disable=SC2034
in_parallel=(-n auto --dist loadgroup)

# What a script does goes to standard error, so that its result alone is on standard output.
say() { printf '%s\n' "$*" >&2; }

fail() {
  say "${0##*/}: $*"
  exit 1
}

have() { command -v "$1" >/dev/null 2>&1; }

has_library() { PATH=$PATH:/sbin:/usr/sbin ldconfig -p | grep -q "^[[:space:]]*$1 "; }

# Runs a command without its chatter; what it printed is shown only if it fails.
quietly() {
  local log status=0
  log=$(mktemp)
  "$@" >"$log" 2>&1 </dev/null || status=$?
  [ "$status" -eq 0 ] || cat "$log" >&2
  rm -f "$log"
  return "$status"
}

# apt-get with package lists of our own under .cache: needs no root, and no matter how old the machine's lists are.
# The sandbox user could not read a folder that only root may enter, so apt drops no rights here.
private_apt() {
  mkdir -p "$cache/apt/lists/partial" "$cache/apt/archives/partial"
  quietly apt-get -q -o APT::Sandbox::User="$(id -un)" \
    -o Dir::State::lists="$cache/apt/lists" -o Dir::Cache="$cache/apt" "$@"
}

# unpack_debian FOLDER PACKAGE...: unpacks Debian packages into FOLDER/PACKAGE without installing them.
unpack_debian() {
  local folder=$1 package
  shift
  if ! have apt-get || ! have dpkg-deb; then
    fail "needs apt-get and dpkg-deb, as Debian has them, to fetch: $*"
  fi
  [ -e "$cache/apt/updated" ] || private_apt update || fail "could not fetch the package lists"
  : >"$cache/apt/updated"
  mkdir -p "$folder"
  for package in "$@"; do
    (cd "$folder" && private_apt download "$package") || {
      # The mirror may have moved on since the lists were fetched.
      private_apt update && (cd "$folder" && private_apt download "$package")
    } || fail "could not fetch the Debian package $package"
    dpkg-deb -x "$folder/$package"_*.deb "$folder/$package"
  done
}

# install_debian PACKAGE...: installs Debian packages for good, as root or with sudo.
install_debian() {
  local as_root=()
  have apt-get || fail "please install: $*"
  if [ "$(id -u)" -ne 0 ]; then
    have sudo || fail "please install, as root: apt-get install $*"
    as_root=(sudo)
  fi
  say "installing $*"
  quietly "${as_root[@]}" apt-get -q update || say "could not refresh the package lists; trying with the old ones"
  quietly "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -q install -y --no-install-recommends "$@" ||
    fail "could not install: $*"
}

# Fetches what the tests need beside Python packages.
prepare_tests() {
  "$root/scripts/fetching/fetch-midicsv"
  "$root/scripts/fetching/fetch-corpora"
  "$root/scripts/fetching/fetch-svg-dtd"
  "$root/scripts/fetching/fetch-axe"
  # The live tests play through a sound server of their own, which needs no sound card, on a synthesizer of Debian's.
  if [ "$(uname)" = Linux ]; then
    has_library libasound.so.2 || install_debian libasound2
    have jackd || install_debian jackd2
    # The page and pictures are opened in a browser, and measured in the font that is the widest of the usual ones.
    { have chromium && [ -e /usr/share/fonts/truetype/dejavu/DejaVuSans.ttf ]; } ||
      install_debian chromium fonts-dejavu-core
    { have fluidsynth && [ -e /usr/share/sounds/sf2/TimGM6mb.sf2 ]; } || install_debian fluidsynth timgm6mb-soundfont
  fi
}
