package notice

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"net"
	"net/textproto"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail"
)

// Mail sends messages to one address by e-mail, through a relay.
type Mail struct {
	Relay          string // host:port
	Secure         string // starttls and tls refuse to go on without TLS; none
	User, Password string // none where the relay asks for none
	Roots          *x509.CertPool
	From, To       string
	Pages          string        // address that links begin with
	Patience       time.Duration // with one try; 0 means 30 s
}

const (
	mailPatience = 30 * time.Second
	mostSubject  = 100 // runes
)

// Carry sends one message. That it went out before is to be seen by its Message-ID, which stays the same at
// every try.
func (m Mail) Carry(ctx context.Context, d Delivery) (answer string, taken bool) {
	letter, err := m.letter(d)
	if err != nil {
		return "the message cannot be written", false
	}
	err = m.with(ctx, func(ctx context.Context, c *mail.Client) error {
		return c.DialAndSendWithContext(ctx, letter)
	})
	if ctx.Err() != nil && err != nil {
		return "", false
	}
	return mailAnswer(err)
}

// Try lets itself in at the relay as for a message, and sends none: nil, or why that did not work.
func (m Mail) Try(ctx context.Context) error {
	err := m.with(ctx, func(ctx context.Context, c *mail.Client) error {
		defer c.Close()
		return c.DialWithContext(ctx)
	})
	if answer, taken := mailAnswer(err); !taken {
		return errors.New(answer)
	}
	return nil
}

// with does something with the relay, within our patience.
func (m Mail) with(ctx context.Context, do func(context.Context, *mail.Client) error) error {
	patience := m.Patience
	if patience == 0 {
		patience = mailPatience
	}
	client, err := m.client(patience)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	return do(ctx, client)
}

func (m Mail) client(patience time.Duration) (*mail.Client, error) {
	host, port, err := net.SplitHostPort(m.Relay)
	if err != nil {
		return nil, err
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		return nil, err
	}
	options := []mail.Option{mail.WithPort(n), mail.WithTimeout(patience),
		mail.WithTLSConfig(&tls.Config{ServerName: host, RootCAs: m.Roots, MinVersion: tls.VersionTLS12})}
	switch m.Secure {
	case "tls":
		options = append(options, mail.WithSSL())
	case "none":
		options = append(options, mail.WithTLSPolicy(mail.NoTLS))
	default:
		options = append(options, mail.WithTLSPolicy(mail.TLSMandatory))
	}
	if m.User != "" {
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(m.User),
			mail.WithPassword(m.Password))
	}
	return mail.NewClient(host, options...)
}

// letter is a message as a plain text: its first sentence is the subject, for a phone shows no more.
func (m Mail) letter(d Delivery) (*mail.Msg, error) {
	var told Message
	if err := json.Unmarshal(d.Body, &told); err != nil {
		return nil, err
	}
	at, err := time.Parse(time.RFC3339, told.At)
	if err != nil {
		return nil, err
	}
	letter := mail.NewMsg(mail.WithNoDefaultUserAgent())
	if err := errors.Join(letter.From(m.From), letter.To(m.To)); err != nil {
		return nil, err
	}
	subject, _, _ := strings.Cut(told.Says, ". ")
	subject = strings.TrimSuffix(subject, ".")
	if r := []rune(subject); len(r) > mostSubject {
		subject = string(r[:mostSubject-1]) + "…"
	}
	letter.Subject(told.Site + ": " + subject)
	letter.SetDateWithValue(at)
	letter.SetMessageIDWithValue(d.Notice + "." + sender(m.From))
	letter.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no out-of-office answers it
	letter.SetGenHeader("X-Lidwright-Event", told.Event)
	letter.SetBodyString(mail.TypeTextPlain, told.Says+"\r\n\r\n"+m.Pages+told.Link+"\r\n"+
		at.Format("2006-01-02 15:04 -07:00")+"\r\n")
	return letter, nil
}

// sender is the right side of a Message-ID: it is of the host that the mail comes from.
func sender(address string) string {
	return "lidwright@" + address[strings.LastIndexByte(address, '@')+1:]
}

// mailAnswer is what came of a try: the code of the relay, or what kept us from asking it.
func mailAnswer(err error) (answer string, taken bool) {
	var refused *mail.SendError
	var reply *textproto.Error
	var certificate *tls.CertificateVerificationError
	switch {
	case err == nil:
		return "250", true
	case errors.As(err, &refused) && refused.ErrorCode() > 0:
		return strconv.Itoa(refused.ErrorCode()), false
	case errors.As(err, &reply):
		return strconv.Itoa(reply.Code), false
	case errors.As(err, &certificate):
		return "its certificate is not trusted", false
	case strings.Contains(err.Error(), "STARTTLS"):
		return "it offers no TLS", false
	}
	return "no answer", false
}
