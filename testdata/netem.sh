#!/usr/bin/env bash
# Runs TestNetem under a kernel that has netem, where this machine's has none: Debian's, in
# an emulated machine. Needs root, apt-get and some minutes; downloads 40 MB.
#
#   bash testdata/netem.sh
set -euo pipefail
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

missing=()
command -v qemu-system-x86_64 >/dev/null || missing+=(qemu-system-x86)
command -v busybox >/dev/null || missing+=(busybox-static)
command -v cpio >/dev/null || missing+=(cpio)
command -v tc >/dev/null || missing+=(iproute2)
if ((${#missing[@]})); then apt-get update -qq && apt-get install -y -qq --no-install-recommends "${missing[@]}"; fi

# The kernel: what Debian's package for virtual machines names.
kernel=$(apt-cache depends linux-image-cloud-amd64 | sed -n 's/.*Depends: \(linux-image-[^ ]*\)/\1/p' | head -1)
(cd "$work" && apt-get download -qq "$kernel" 2>/dev/null && dpkg-deb -x "$kernel"_*.deb kernel)

# A file system in memory: the test, the program, ip and tc, and what these are linked with.
root=$work/root
mkdir -p "$root"/{bin,proc,sys,dev,tmp,run/netns,etc,repo/cmd/pulk,repo/testdata}
cp -r testdata/procedures "$root/repo/testdata/"
go build -o "$root/bin/pulk" ./cmd/pulk
go test -c -o "$root/bin/pulk.test" ./cmd/pulk
cp "$(command -v busybox)" "$root/bin/busybox"
for program in ip tc; do cp "$(readlink -f "$(command -v $program)")" "$root/bin/$program"; done
for program in pulk pulk.test ip tc; do ldd "$root/bin/$program" | grep -o '/[^ )]*' | while read -r library; do
  mkdir -p "$root$(dirname "$library")"
  cp -L "$library" "$root$library"
done; done
for module in sch_netem veth; do find "$work/kernel/lib/modules" -name "$module.ko" -exec cp {} "$root/" \;; done
cat >"$root/init" <<'INIT'
#!/bin/busybox sh
/bin/busybox --install -s /bin
mount -t proc proc /proc; mount -t sysfs sysfs /sys; mount -t devtmpfs dev /dev; mount -t tmpfs tmp /tmp; mount -t tmpfs run /run
export PATH=/bin TMPDIR=/tmp HOME=/tmp PULK_BINARY=/bin/pulk
for module in /*.ko; do insmod "$module"; done
ip link set lo up
uname -sr
cd /repo/cmd/pulk && pulk.test -test.run 'TestNetem$' -test.v && echo "netem: passed" || echo "netem: failed"
poweroff -f
INIT
chmod +x "$root/init"
(cd "$root" && find . | cpio -o -H newc --quiet | gzip -1) >"$work/initrd"

out=$work/out
qemu-system-x86_64 -nodefaults -nographic -no-reboot -m 2048 -smp 2 -cpu max -kernel "$work"/kernel/boot/vmlinuz-* -initrd "$work/initrd" \
  -append "console=ttyS0 quiet panic=-1" -serial stdio </dev/null | tee "$out"
grep -q "^netem: passed" "$out"
