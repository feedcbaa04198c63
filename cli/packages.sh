# Sourced by quickstart.sh and tests/run.sh: which Debian packages each needs, and how the missing ones are installed.
# shellcheck shell=sh

# shellcheck disable=SC2034
packages_build="build-essential cmake ninja-build pkg-config libfftw3-dev libxml2-dev libjansson-dev nettle-dev
 zlib1g-dev libgit2-dev libzip-dev"
# shellcheck disable=SC2034
packages_test="git flac libcmocka-dev python3 python3-scipy python3-pandas python3-jsonschema
 python3-soundfile sox libxml2-utils"
# shellcheck disable=SC2034
packages_all="clang libclang-rt-14-dev libomp-dev valgrind cppcheck clang-tidy shellcheck"

# As root when we are, with sudo when we are not.
as_root() {
  if [ "$(id -u)" -eq 0 ]; then
    "$@"
  elif command -v sudo >/dev/null; then
    sudo "$@"
  else
    echo "plumb: these packages are missing:$missing; install them as root, or install sudo" >&2
    exit 69
  fi
}

apt() {
  as_root env DEBIAN_FRONTEND=noninteractive apt-get -q -o DPkg::Lock::Timeout=300 "$@"
}

# install_packages NAME...: touches nothing that is there; fetches new lists only if the old ones do not do.
install_packages() {
  missing=
  for package in "$@"; do
    state=$(dpkg-query -W -f '${Status}' "$package" 2>/dev/null) || state=
    [ "$state" = "install ok installed" ] || missing="$missing $package"
  done
  [ -n "$missing" ] || return 0
  echo "Installing Debian packages:$missing" >&2
  # shellcheck disable=SC2086
  if ! apt install -y --no-install-recommends $missing >&2; then
    apt update >&2
    # shellcheck disable=SC2086
    apt install -y --no-install-recommends $missing >&2
  fi
}
