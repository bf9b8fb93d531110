#!/bin/sh
# Runs in network and mount namespaces of its own, as their root: $1 is propwright, $2
# a site with prop harbour-bell. eth9 is this computer's card, its other end another
# computer's, in a further namespace.
set -eu
program=$1
export PROPWRIGHT_SITE="$2"
sudo() { "$@"; } # this is root already

ip link set lo up
ip link add eth9 type veth peer name far
unshare -n sh -c 'echo $$ > far.pid; exec sleep 600' &
while [ ! -s far.pid ]; do :; done
far=$(cat far.pid)
trap 'kill "$far"' EXIT
there() { nsenter -t "$far" -n "$@"; }
ip link set far netns "$far"
there ip link set far up
ip link set eth9 up

bench() { status=0; "$program" bench harbour-bell --json > bench.json || status=$?; }
value() { sed -n "s/^ *\"$1\": \"\(.*\)\",*$/\1/p" bench.json | head -n 1; }

bench
echo "free: status $status, owner '$(value owner)', trouble '$(value trouble)'"
add=$(value do) undo=$(value undo)
echo "add: $add"
echo "undo: $undo"

there ip address add 10.77.0.10/24 dev far
ip address add 10.77.0.200/24 dev eth9
bench
echo "another computer: status $status, owner '$(value owner)', trouble '$(value trouble)'"
there ip address del 10.77.0.10/24 dev far

eval "$add"
bench
echo "given: status $status, owner '$(value owner)', trouble '$(value trouble)'"
there ip address add 10.77.0.57/24 dev far

"$program" commission harbour-bell --procedure tidy --listen 10.77.0.10:502 --answers answers.toml > commission.out 2> commission.err || true
echo "reminder: $(grep '^=> If it was given' commission.err || cat commission.err)"

eval "$undo"
bench
echo "taken back: status $status, owner '$(value owner)', trouble '$(value trouble)'"
