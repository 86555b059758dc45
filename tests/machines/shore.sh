# The machine elsewhere: Debian's broker, to which the Pi's bridges; it hears an alert.
. /steps.sh
cd /root
step "waits for the Pi's password"
for _ in $(seq 600); do handed lapwing-bridge && break; sleep 1; done
cp -r /handover/systemd /handover/lapwing-bridge /root/

step "the broker is set up"
run "sudo apt-get install -y mosquitto mosquitto-clients openssl | tail -1"
run "$(block '--elsewhere shore.example')"
has_heard() { mosquitto_sub -V 5 -h shore.example -p 8883 -C 1 -W "${2:-3}" -t "cabinvigil/lapwing/$1" --cafile /etc/mosquitto/certs/cabinvigil-ca.crt -u ben -P "$(cat /etc/mosquitto/cabinvigil-secrets/ben)"; }
cp /etc/mosquitto/certs/cabinvigil-ca.crt /handover/shore-ca.crt
must "the bridge is up" bash -c "$(declare -f has_heard); has_heard bridge | grep -qx 1"
TRIES=60 must "it hears heartbeats" has_heard heartbeat

step "a far phone asks for a test, and another hears the alert"
# A phone, a user: under one name the one would throw the other out.
run "sudo bash systemd/broker-setup lapwing --phone cleo --elsewhere shore.example | grep -e cleo -e started"
TRIES=60 must "it hears heartbeats still" has_heard heartbeat
(has_heard alert 240 >/tmp/alert 2>&1 && cp /tmp/alert /handover/alert-heard) &
sleep 2
mosquitto_pub -V 5 -h shore.example -p 8883 --cafile /etc/mosquitto/certs/cabinvigil-ca.crt -u cleo \
    -P "$(cat /etc/mosquitto/cabinvigil-secrets/cleo)" -t cabinvigil/lapwing/ask \
    -m "{\"ask\": \"test\", \"at\": \"$(date -u +%FT%TZ)\"}"
TRIES=240 must "an alert at the far broker" handed alert-heard
cat /tmp/alert
step "done"
