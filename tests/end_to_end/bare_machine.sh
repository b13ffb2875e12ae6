#!/usr/bin/env bash
# Proves the two commands at the top of README.md on a minimal Debian 12: a root made with debootstrap that holds nothing
# but the base system, a copy of this clone, and what the commands themselves install. Not run by the test suite: it needs
# root, debootstrap, the network, some 6 GB and a quarter of an hour.
#
#   tests/end_to_end/bare_machine.sh FOLDER     FOLDER must not exist yet; it is left for a look and can be deleted after.
#
# Environment, all optional:
#   BARE_MIRROR   Debian mirror (default: the one this machine's own apt uses)
#   BARE_SUITE    default bookworm
#   BARE_CA       a file of certificates that pip shall trust, where the network needs its own
#   BARE_TESTS    more arguments for the second command's pytest (default: none, the whole suite)
set -euo pipefail

[ $# -eq 1 ] || { echo "usage: $0 FOLDER" >&2; exit 2; }
root=$(realpath -m "$1")
clone=$(git -C "$(dirname "$0")" rev-parse --show-toplevel)
[ ! -e "$root" ] || { echo "error: $root is there already; name a folder that is not" >&2; exit 2; }
[ "$(id -u)" = 0 ] || { echo "error: chroot needs root" >&2; exit 2; }
mirror=${BARE_MIRROR:-$(apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' | grep -m 1 '/debian/*$')}

debootstrap --variant=minbase "${BARE_SUITE:-bookworm}" "$root" "$mirror"
cp /etc/resolv.conf /etc/hosts "$root/etc/"
trusted=()
if [ -n "${BARE_CA:-}" ]; then
    cp -L "$BARE_CA" "$root/usr/local/share/bare-ca.pem"
    trusted=(PIP_CERT=/usr/local/share/bare-ca.pem)
fi
mount --bind /proc "$root/proc"
mount --bind /dev "$root/dev"
trap 'umount "$root/proc" "$root/dev"' EXIT
git clone --quiet "$clone" "$root/root/pithline"

inside() {
    env -i HOME=/root PATH=/usr/sbin:/usr/bin:/sbin:/bin LANG=C.UTF-8 "${trusted[@]}" \
        chroot "$root" /bin/bash -euxc "cd /root/pithline && $1"
}

commands() {  # the lines of README.md's first block of commands, as a newcomer would paste them
    awk '/^    / { seen = 1; print substr($0, 5); next } seen && NF { exit }' "$clone/README.md"
}
first=$(commands | sed -n 1p)
second=$(commands | sed -n 2p)
inside "apt-get update -q && ${first/apt-get install -y/apt-get install -y -q}"
inside "ls -l plan && test -s plan/cut-script.json"
inside "$second ${BARE_TESTS:-}"
echo "both commands of README.md hold on a bare ${BARE_SUITE:-bookworm}"
