package app

import (
	"crypto/tls"
	"encoding/json"
	"fmt"
	"net"
	"strings"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/mqtt/broker"
	"fluewright/daemon/internal/mqtt/homie"
)

// startBroker starts the broker within the program. The publisher's topics say what the
// site's begin with.
func (h *house) startBroker(retained []string) (*broker.Broker, error) {
	o := broker.Options{
		Listen:   h.cfg.MQTT.Embedded,
		Open:     h.world().listen,
		Root:     strings.TrimSuffix(retained[0], "availability"),
		ClientID: h.cfg.MQTT.ClientID,
		Retained: retained,
		Views:    []string{"homie/5/" + h.cfg.Site.Name + "/#"},
		Keep:     broker.Keep{Dir: h.options.State, Which: standing},
		Log:      h.log,
	}
	var err error
	if o.Users, o.TLS, err = guests(h.cfg); err != nil {
		return nil, err
	}
	b, err := broker.Start(o)
	if err != nil {
		return nil, fmt.Errorf("start broker: %w", err)
	}
	h.ends = append(h.ends, b.Close)
	h.broker = b.Stats
	if host, _, err := net.SplitHostPort(b.Addr()); err == nil && o.TLS == nil && !net.ParseIP(host).IsLoopback() {
		h.log.Warn("the MQTT broker listens to a network without encryption: passwords can be read on the way", "address", b.Addr())
	}
	return b, nil
}

// guests reads who may come to the broker within the program, and with which certificate it
// meets them.
func guests(cfg *config.Config) (users []broker.User, secure *tls.Config, err error) {
	for _, u := range cfg.Broker.Users {
		secret, err := broker.ReadSecret(u.PasswordFile, u.Name)
		if err != nil {
			return nil, nil, fmt.Errorf("read the password of the broker's user %s: %w", u.Name, err)
		}
		users = append(users, broker.User{Name: u.Name, Secret: secret, Read: u.Read, Write: u.Write})
	}
	if c := cfg.Broker; c.CertificateFile != "" {
		pair, err := tls.LoadX509KeyPair(c.CertificateFile, c.KeyFile)
		if err != nil {
			return nil, nil, fmt.Errorf("read the broker's certificate: %w", err)
		}
		secure = &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{pair}}
	}
	return users, secure, nil
}

// CheckBroker reports what could not be read at the start: by the broker within the program, or
// for one elsewhere.
func CheckBroker(cfg *config.Config) error {
	if c := cfg.MQTT; c.Broker != "" {
		_, err := mqtt.NewSecure(&mqtt.Options{Broker: c.Broker, CAFile: c.CAFile, CertFile: c.CertificateFile, KeyFile: c.KeyFile})
		return err
	}
	_, _, err := guests(cfg)
	return err
}

// buildHomie shows the site at the publisher's broker, as the same user.
func (h *house) buildHomie(o *mqtt.Options, alarms []alarm.Status) error {
	secure, err := mqtt.NewSecure(o)
	if err != nil {
		return fmt.Errorf("set up the Homie view: %w", err)
	}
	d, err := homie.New(homie.Options{
		Site: o.Site, Broker: o.Broker, TLS: secure.Config, ClientID: o.ClientID + "-homie", User: o.User, Password: o.Password,
		Feed: h.feed, Alarms: alarms, Verdict: o.Verdict, StaleAfter: h.cfg.Sampling.StaleAfter, Dial: o.Dial, Log: h.log,
	})
	if err != nil {
		return err
	}
	h.tasks = append(h.tasks, task{"homie", d.Run})
	return nil
}

// standing says which occurrence of an alarm a retained message tells of, if a person should
// find it after a restart before it is judged anew. What says that nothing is wrong is not
// kept: nobody looked meanwhile.
func standing(topic string, payload []byte) string {
	var a struct {
		Alarm, State string
		Occurrence   uint32
	}
	if !strings.Contains(topic, "/alarm/") || json.Unmarshal(payload, &a) != nil {
		return ""
	}
	switch a.State {
	case alarm.Raised.String(), alarm.Acknowledged.String(), alarm.Shelved.String():
		return fmt.Sprintf("%s %s %d", a.Alarm, a.State, a.Occurrence)
	}
	return ""
}
