# The Pi: a bare trixie, from the package to a bridge; then upgraded, removed, purged.
. /steps.sh
cd /root
mkdir -p dist && cp /handover/cabinvigil_*-1_all.deb dist/
config=/etc/cabinvigil/cabin.toml
is_watching() { [ "$(systemctl is-active cabinvigil)" = active ]; }
has_heard() { mosquitto_sub -V 5 -h localhost -p 8883 -C 1 -W 3 -t "cabinvigil/lapwing/$1" --cafile /etc/mosquitto/certs/cabinvigil-ca.crt -u ana -P "$(cat /etc/mosquitto/cabinvigil-secrets/ana)"; }

step "the package is put in"
run "$(block 'dist/cabinvigil_' | grep apt-get)"
must "nothing was started" fails is_watching
must "nothing is enabled" fails systemctl is-enabled -q cabinvigil
must "the user has the buses' groups" bash -c 'id cabinvigil | grep i2c | grep gpio | grep -q dialout'
must "the config is the daemon's to read" sudo -u cabinvigil test -r $config
must "and nobody else's" fails sudo -u nobody test -r $config

step "a night is played as the service's user"
run "sudo -u cabinvigil cabinvigil rehearse shut$(cat /handover/night) | head -3"
run "cabinvigil config | grep 'is valid'"

step "the unit is started"
run "sudo systemctl enable --now cabinvigil"
must "it watches" is_watching

step "the broker is set up"
run "$(block 'broker-setup lapwing --phone ana' | sed 's/bash systemd\/broker-setup/cabinvigil-broker-setup/')" | grep -v ^Get
must "what was there says so at once" bash -c 'cabinvigil-broker-setup lapwing | grep -q "nothing to change"'
sed -i 's/^# user = .*/user = "watcher"/; s/^# password_file = "\([^"]*\)".*/password_file = "\1"/
    s/^# test_at_night/test_at_night/' $config # for the transcript, which may be made at night
run "sudo systemctl restart cabinvigil"
must "the cabin's phone hears a heartbeat" has_heard heartbeat
must "the group that looks cannot read the password" fails sudo -u nobody -g cabinvigil cat /etc/cabinvigil/mqtt-password

step "the phone's end is set up on the Pi too"
run "$(block 'install -y apprise' | grep -v nano | sed 's/-y apprise.*/& | tail -1/')"
run "$(block '-g cabinvigil-phone')"
sed -i '/^host = /a user = "ana"\npassword_file = "/etc/cabinvigil/phone-password"\nport = 8883\nca_file = "/etc/mosquitto/certs/cabinvigil-ca.crt"
    s/^tls = false/tls = true/' /etc/cabinvigil/phone.toml
must "the broker lets it in" bash -c 'sudo -u cabinvigil-phone cabinvigil phone --check | grep -q "good  broker"'
run "$(block 'enable --now cabinvigil-phone' | tail -1)"
must "it listens" [ "$(systemctl is-active cabinvigil-phone)" = active ]

step "the bridge comes up"
cp /etc/mosquitto/cabinvigil-secrets/lapwing-bridge /handover/lapwing-bridge
TRIES=120 must "the other machine is set up" handed shore-ca.crt
cp /handover/shore-ca.crt /etc/mosquitto/certs/cabinvigil-shore-ca.crt
run "sudo cabinvigil-broker-setup lapwing | grep started"
TRIES=300 must "the far phone has an alert" handed alert-heard

step "a newer package is put in"
before=$(systemctl show -p MainPID --value cabinvigil)
echo '# mine' >> $config
cp /handover/newer/cabinvigil_*.deb dist/
run "sudo apt-get install -y ./dist/cabinvigil_*-2_all.deb | tail -1"
must "the file that it no longer has is gone" test ! -e /usr/lib/python3/dist-packages/cabinvigil/daemon/text/dropped.py
must "my config is kept" grep -q '# mine' $config
must "it watches, as another process" bash -c "[ \"\$(systemctl show -p MainPID --value cabinvigil)\" != $before ] && [ \"\$(systemctl is-active cabinvigil)\" = active ]"
must "the cabin's phone hears it still" has_heard heartbeat

step "a mistake in the config, and the same package again: the watch goes on"
before=$(systemctl show -p MainPID --value cabinvigil)
cp $config /root/kept && echo 'nonsense = 1' >> $config
run "sudo apt-get install -y --reinstall ./dist/cabinvigil_*-2_all.deb 2>&1 | grep -A1 mistakes"
must "it is the same process" bash -c "[ \"\$(systemctl show -p MainPID --value cabinvigil)\" = $before ]"
cp /root/kept $config

step "it is removed"
run "sudo apt-get remove -y cabinvigil | tail -1"
must "it watches no longer" fails is_watching
must "its bridge neither" bash -c '[ "$(systemctl is-active cabinvigil-bridge)" != active ]'
must "no code is left" test ! -e /usr/lib/python3/dist-packages/cabinvigil
must "config and nights are left" bash -c "test -e $config && ls /var/log/cabinvigil/* >/dev/null"

step "it is put back, and says that it does not watch"
run "sudo apt-get install -y ./dist/cabinvigil_*-2_all.deb 2>&1 | grep 'does NOT run'"

step "it is purged, and the nights were asked for"
run "sudo touch /var/log/cabinvigil/keep
sudo apt-get purge -y cabinvigil | tail -1"
must "config and spans are gone" bash -c 'test ! -e /var/lib/cabinvigil-phone && test ! -e /etc/cabinvigil && test ! -e /var/lib/cabinvigil'
must "the nights stay" bash -c 'ls /var/log/cabinvigil/night* >/dev/null || ls /var/log/cabinvigil/*.jsonl >/dev/null'
must "nothing of it is enabled" bash -c '! find /etc/systemd -name "cabinvigil*" | grep .'
step "done"
touch /handover/pi-done
