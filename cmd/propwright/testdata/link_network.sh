#!/bin/sh
# Runs in network and mount namespaces of its own, as their root: $1 is propwright, $2 a
# site with prop harbour-bell (board 10.77.0.57, controller 10.77.0.10), $3 the folder of
# the program that plays a slow cable. br9 is this
# computer's card; two other computers hang on it, each in a further namespace.
set -eu
program=$1
export PROPWRIGHT_SITE="$2"
cable=$3

ip link set lo up
ip link add br9 type bridge
ip link set br9 up
ip address add 10.77.0.200/24 dev br9
pids=
trap 'kill $pids 2> /dev/null || true' EXIT
computer() { # name mac
  unshare -n sh -c "echo \$\$ > $1.pid; exec sleep 600" &
  while [ ! -s "$1.pid" ]; do :; done
  pids="$pids $(cat "$1.pid")"
  ip link add "to-$1" type veth peer name eth0
  ip link set eth0 netns "$(cat "$1.pid")"
  ip link set "to-$1" master br9
  ip link set "to-$1" up
  at "$1" ip link set eth0 address "$2"
  at "$1" ip link set eth0 up
  at "$1" ip link set lo up
}
at() { name=$1; shift; nsenter -t "$(cat "$name.pid")" -n "$@"; }
look() { # what, further arguments
  what=$1; shift
  status=0
  "$program" link harbour-bell --json "$@" > link.json 2> link.err || status=$?
  echo "$what: status $status, faults $(sed -n 's/^      "id": "\(.*\)",$/\1/p' link.json | tr '\n' ' ')"
  [ "$status" -lt 2 ] || cat link.err
}

computer board 02:54:57:00:00:57
computer other 02:54:57:00:00:58
computer controller 02:54:57:00:00:10
at board ip address add 10.77.0.57/24 dev eth0
at other ip address add 10.77.0.58/24 dev eth0
at controller ip address add 10.77.0.10/24 dev eth0
at other ip address add 10.77.0.1/24 dev eth0

look "port shut"
# Not by "at": what ends must be the program, not a shell around it.
nsenter -t "$(cat controller.pid)" -n "$program" link watch --listen 10.77.0.10:502 > controller.out 2> controller.err &
pids="$pids $!"
while ! grep -q standing controller.err; do :; done
look "nothing wrong"
at other ip address add 10.77.0.57/24 dev eth0
look "address in use twice"
at other ip address del 10.77.0.57/24 dev eth0
at other ip link set eth0 address 02:54:57:00:00:57
look "MAC in use twice"
at other ip link set eth0 address 02:54:57:00:00:58
at other ip address del 10.77.0.1/24 dev eth0
look "no gateway"
at other ip address add 10.77.0.1/24 dev eth0
# A slow cable between the controller and the others.
ip link add plug-a type veth peer name plug-b
ip link set to-controller nomaster
ip link set plug-a master br9
for c in plug-a plug-b; do ip link set "$c" up; done
"$cable/slow-cable" plug-b to-controller 700ms 0 1 > cable.out &
wire=$!
pids="$pids $wire"
while ! grep -q plugged cable.out; do :; done
look "slow answers"
kill "$wire"
ip link del plug-a
ip link set to-controller master br9
at controller ip link set eth0 down
look "controller's cable out"
at controller ip link set eth0 up
ip address del 10.77.0.200/24 dev br9
look "another subnet"
