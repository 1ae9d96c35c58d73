#!/bin/sh
# Installs what the browser tests need besides Python packages: three engines, a virtual screen,
# Java for the Nu HTML checker, Node.js for the npm packages. Quick when all is there.
#
# On Debian and Ubuntu as root or with sudo; elsewhere it says what is missing and lets the tests
# that need it fail.
#
# usage: tests/browser/install.sh PLAYWRIGHT
#   PLAYWRIGHT: the command of the test environment; it fetches Chromium and Firefox where the
#   system's own packages are snaps, which no driver can start (Ubuntu).
set -eu

playwright=$1
id=none
if [ -r /etc/os-release ]; then
    id=$(. /etc/os-release && echo "$ID")
fi

have() { command -v "$1" >/dev/null 2>&1; }

# The places where Debian, Fedora and Arch put it; a pattern without a match stays a word that is no file.
have_minibrowser() {
    [ -n "${KB_MINIBROWSER:-}" ] || have MiniBrowser || {
        for file in /usr/lib*/*/webkit*/MiniBrowser /usr/lib*/webkit*/MiniBrowser /usr/libexec/webkit*/MiniBrowser; do
            [ -x "$file" ] && return 0
        done
        return 1
    }
}

have_chromium() {
    [ -n "${KB_CHROMIUM:-}" ] || have chromium || have google-chrome || have google-chrome-stable ||
        [ -d "/Applications/Google Chrome.app" ] || [ -d /Applications/Chromium.app ] || have_own chromium
}

have_firefox() {
    [ -n "${KB_FIREFOX:-}" ] || have firefox-esr || { have firefox && [ "$id" != ubuntu ]; } ||
        [ -d /Applications/Firefox.app ] || have_own firefox
}

# A build that Playwright itself fetched earlier.
have_own() { ls -d "${PLAYWRIGHT_BROWSERS_PATH:-$HOME/.cache/ms-playwright}/$1"-* >/dev/null 2>&1; }

packages=
own=
need() { packages="$packages $*"; }

have WebKitWebDriver && have_minibrowser || need webkit2gtk-driver
have Xvfb || need xvfb xauth
have java || need default-jre-headless
have node || need nodejs
have npm || need npm
if ! have_chromium; then
    if [ "$id" = ubuntu ]; then own="$own chromium"; else need chromium; fi
fi
if ! have_firefox; then
    if [ "$id" = ubuntu ]; then own="$own firefox"; else need firefox-esr; fi
fi

[ -n "$packages$own" ] || exit 0
echo "The tests need:$packages${own:+ (from Playwright)$own}"

if [ "$id" != debian ] && [ "$id" != ubuntu ]; then
    echo "This is neither Debian nor Ubuntu: install them as your system does. Until then tests fail that need them." >&2
    exit 0
fi
if [ "$(id -u)" -eq 0 ]; then
    as_root=env
elif have sudo && { sudo -n true 2>/dev/null || [ -t 0 ]; }; then
    as_root=sudo
else
    echo "Neither root nor sudo: have them installed. Until then tests fail that need them." >&2
    exit 0
fi

if [ -n "$packages" ]; then
    $as_root apt-get -o DPkg::Lock::Timeout=300 -qq update
    # shellcheck disable=SC2086 # a list of words
    $as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get -o DPkg::Lock::Timeout=300 -qq -y install --no-install-recommends fonts-dejavu-core $packages >/dev/null
fi
if [ -n "$own" ]; then
    # shellcheck disable=SC2086 # a list of words
    "$playwright" install --with-deps $own
fi
