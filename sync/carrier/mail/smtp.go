package mail

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/smtp"
	"net/textproto"
	"strconv"
	"strings"
	"time"
)

// SMTP sends mails through a mail server (RFC 5321), with STARTTLS wherever the
// server offers it.
type SMTP struct {
	Address        string // host:port
	User, Password string // where the server asks for them; never sent without TLS, save to this machine
	TLS            *tls.Config
	Timeout        time.Duration // of all the mails; 0: ten minutes, for a thin link
}

// Send hands mails to the server, over one connection. When it returns nil the
// server has answered for all of them.
func (s SMTP) Send(ctx context.Context, mails []Outgoing) error {
	timeout := s.Timeout
	if timeout == 0 {
		timeout = 10 * time.Minute
	}
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", s.Address)
	if err != nil {
		return err
	}
	defer context.AfterFunc(ctx, func() { conn.Close() })() // ends whatever waits for the server
	host, _, err := net.SplitHostPort(s.Address)
	if err != nil {
		return err
	}
	client, err := smtp.NewClient(conn, host)
	if err != nil {
		return errors.Join(ctx.Err(), err)
	}
	defer client.Close()
	if err := s.begin(client, host); err != nil {
		return explain(ctx, err)
	}
	for _, mail := range mails {
		if err := send(client, mail); err != nil {
			return explain(ctx, err)
		}
	}
	client.Quit() // the mails are the server's by now, whatever it answers
	return nil
}

// begin greets the server, and proves who we are where it asks.
func (s SMTP) begin(client *smtp.Client, host string) error {
	if ok, _ := client.Extension("STARTTLS"); ok {
		config := s.TLS.Clone()
		if config == nil {
			config = &tls.Config{}
		}
		if config.ServerName == "" {
			config.ServerName = host
		}
		if err := client.StartTLS(config); err != nil {
			return err
		}
	}
	if s.User == "" {
		return nil
	}
	return client.Auth(smtp.PlainAuth("", s.User, s.Password, host))
}

func send(client *smtp.Client, mail Outgoing) error {
	if ok, text := client.Extension("SIZE"); ok {
		if limit, err := strconv.Atoi(strings.TrimSpace(text)); err == nil && limit > 0 && len(mail.Message) > limit {
			return fmt.Errorf("the server takes mails of at most %d bytes, this one has %d", limit, len(mail.Message))
		}
	}
	if err := client.Mail(mail.From); err != nil {
		return err
	}
	if err := client.Rcpt(mail.To); err != nil {
		return err
	}
	data, err := client.Data()
	if err != nil {
		return err
	}
	if _, err := data.Write(mail.Message); err != nil {
		return err
	}
	return data.Close()
}

// explain says whether a failure is worth another try later.
func explain(ctx context.Context, err error) error {
	var answer *textproto.Error
	switch {
	case ctx.Err() != nil:
		return fmt.Errorf("the mail server did not finish in time: %w", err)
	case errors.As(err, &answer) && answer.Code >= 500:
		return fmt.Errorf("the mail server refuses: %w", err)
	case errors.As(err, &answer):
		return fmt.Errorf("the mail server asks to try again later: %w", err)
	}
	return err
}
