#!/bin/bash
# Builds, inside the building root, the two modules that Debian's kernel lacks:
# gpio-sim from the kernel's own source, and i2c_wire from ours.  Called by image.sh.
set -eu
export DEBIAN_FRONTEND=noninteractive
apt-get update -q
apt-get install -y -q --no-install-recommends linux-headers-amd64 gcc make xz-utils kmod
headers=$(basename /usr/src/linux-headers-*-amd64)
version=${headers#linux-headers-}
series=$(echo "$version" | cut -d. -f1,2)

mkdir -p /kernel/download && cd /kernel/download && chmod 777 .
apt-get download -q "linux-image-$version" "linux-source-$series"
dpkg -x linux-image-*.deb /kernel/image
dpkg -x linux-source-*.deb /kernel/source
rm -f ./*.deb

cd /kernel/build
tree=linux-source-$series
tar xJf "/kernel/source/usr/src/$tree.tar.xz" --strip-components=1 \
    "$tree/drivers/gpio/gpio-sim.c" "$tree/drivers/gpio/gpiolib.h" \
    "$tree/kernel/irq/irq_sim.c"
mv drivers/gpio/gpio-sim.c gpio_sim_main.c
mv drivers/gpio/gpiolib.h .
mv kernel/irq/irq_sim.c .
# Linked into the module, it exports nothing, and may use exported calls alone.
sed -i -e '/^EXPORT_SYMBOL/d' \
    -e 's/handle_simple_irq(irq_to_desc(irqnum))/generic_handle_irq_safe(irqnum)/' \
    irq_sim.c
make -C "/lib/modules/$version/build" M="$PWD" modules
echo "$version" > /kernel/version
