package boot_test

// site is the machine's configuration. The times are short, so that alarms come and go.
const site = `[site]
name = "basement"
units = "si"
[mqtt]
broker = "tcp://127.0.0.1:1883"
[web]
listen = "127.0.0.1:8080"
[alarms.overheat]
clear-after = "2 s"
[alarms.spillage]
hold = "1 s"
clear-after = "1 s"
`

const shellUnit = `[Unit]
Description=A shell for whoever holds the other end
DefaultDependencies=no
[Service]
ExecStart=/bin/sh -c '\
	for p in /sys/class/virtio-ports/*; do [ "$(cat $p/name)" = line ] && d=/dev/$${p##*/}; done; \
	exec sh -c "echo shell; exec sh" <>$d >&0 2>&0'
Restart=always
[Install]
WantedBy=sysinit.target
`

// benchUnit stands where the kernel's modules stand on a board: which devices a unit may
// open is told from /proc/devices when the unit starts.
const benchUnit = `[Unit]
Description=Virtual chips
DefaultDependencies=no
Before=fluewright.service
[Service]
ExecStartPre=/sbin/modprobe cuse
ExecStartPre=/bin/sh -c '[ -p /run/bench.ctl ] || mkfifo /run/bench.ctl'
ExecStart=/bin/sh -c 'exec benchd --cuse <>/run/bench.ctl'
ExecStartPost=/bin/sh -c 'until [ -e /dev/spidev1.0 ]; do sleep 0.1; done'
[Install]
WantedBy=sysinit.target
`

// virtualRules give the devices to those whom the package's rules give real ones.
const virtualRules = `SUBSYSTEM=="cuse", KERNEL=="i2c-*", GROUP="i2c", MODE="0660"
SUBSYSTEM=="cuse", KERNEL=="spidev*", GROUP="spi", MODE="0660"
`

// foundUnit sets the state aside as it was found, before the program takes it over.
const foundUnit = `[Unit]
Description=What the last time left
Before=fluewright.service
[Service]
Type=oneshot
ExecStart=/bin/sh -c 'cp -a /var/lib/fluewright /run/found || true'
[Install]
WantedBy=multi-user.target
`

// logMount is for a root that is read-only, or turns so.
const logMount = `[Unit]
Description=Logs in memory
[Mount]
What=tmpfs
Where=/var/log
Type=tmpfs
[Install]
WantedBy=local-fs.target
`
