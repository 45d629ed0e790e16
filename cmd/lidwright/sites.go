package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"lidwright/api/client"
	"lidwright/api/wire"
	"lidwright/config"
)

// sitesCommand keeps the names under which a person asks daemons elsewhere.
func sitesCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "sites", Short: "Names for daemons elsewhere, to ask by --site NAME", Args: cobra.NoArgs,
		Long: "Name each daemon once, then ask it by that name with any command. The names are yours alone: they stand\n" +
			"in sites.toml in your own configuration folder. The list says which of them answer just now.",
		Example: "  lidwright sites add school kiln-pi.local:8573 --code-file ~/school.code\n  lidwright sites\n  lidwright now --site school\n  lidwright sites remove school",
		RunE:    func(c *cobra.Command, _ []string) error { return listSites(c) },
	}
	add := &cobra.Command{
		Use: "add NAME HOST:PORT", Short: "Name a daemon; the passcode in --code-file goes with the name",
		Args:    cobra.ExactArgs(2),
		Example: "  lidwright sites add school kiln-pi.local:8573\n  lidwright sites add annex https://annex.example --code-file ~/annex.code",
		RunE:    func(c *cobra.Command, args []string) error { return addSite(c, args[0], args[1]) },
	}
	remove := &cobra.Command{
		Use: "remove NAME", Short: "Take a name out of the list", Args: cobra.ExactArgs(1),
		ValidArgsFunction: completeSites,
		Example:           "  lidwright sites remove school",
		RunE: func(c *cobra.Command, args []string) error {
			path, sites, err := sitesOf()
			if err != nil {
				return err
			}
			if _, ok := sites[args[0]]; !ok {
				return unknownSite(args[0], sites)
			}
			delete(sites, args[0])
			if err := config.WriteSites(path, sites); err != nil {
				return err
			}
			return confirm(c, map[string]string{"removed": args[0]}, args[0]+" is taken out.")
		},
	}
	c.AddCommand(add, remove)
	return c
}

// confirm prints that something was done: a sentence, with --json what was done.
func confirm(c *cobra.Command, done any, sentence string) error {
	if asJSON, _ := c.Flags().GetBool("json"); asJSON {
		return printJSON(c, done)
	}
	fmt.Fprintln(c.OutOrStdout(), sentence)
	return nil
}

func sitesOf() (path string, sites map[string]config.NamedSite, err error) {
	if path, err = config.SitesFile(); err == nil {
		sites, err = config.ReadSites(path)
	}
	return path, sites, err
}

func unknownSite(name string, sites map[string]config.NamedSite) error {
	says := fmt.Sprintf("no site is called %s", name)
	if len(sites) > 0 {
		says += "; there are " + strings.Join(slices.Sorted(maps.Keys(sites)), ", ")
	}
	return &exit{exitWrongUse, says + "; name it with: lidwright sites add " + name + " HOST:PORT"}
}

// siteNamed is what --site says: a name of the list, or an address, which has a colon or a point in it.
func siteNamed(site string) (config.NamedSite, error) {
	if strings.ContainsAny(site, ".:/[") || site == "" {
		if site != "" && !strings.Contains(site, "://") {
			site = "http://" + site // a host and a port alone
		}
		return config.NamedSite{Address: site}, nil
	}
	_, sites, err := sitesOf()
	if err != nil {
		return config.NamedSite{}, err
	}
	s, ok := sites[site]
	if !ok {
		return config.NamedSite{}, unknownSite(site, sites)
	}
	return s, nil
}

// hosts are names and addresses of machines, with or without a port (RFC 1123, RFC 3986).
var hosts = regexp.MustCompile(`^(?:[A-Za-z0-9][A-Za-z0-9.-]{0,252}|\[[0-9A-Fa-f:.]+\])(?::[0-9]{1,5})?$`)

func addSite(c *cobra.Command, name, address string) error {
	if !config.IsSiteName(name) {
		return &exit{exitWrongUse, fmt.Sprintf("%q is no name for a site, such as annex: a-z, 0-9 and -, at most 60", name)}
	}
	typed := address
	if !strings.Contains(address, "://") {
		address = "http://" + address
	}
	u, err := url.Parse(address)
	if err != nil || !hosts.MatchString(u.Host) || u.Scheme != "http" && u.Scheme != "https" {
		return &exit{exitWrongUse, fmt.Sprintf("%q is no address; say HOST:PORT, as kiln-pi.local:8573",
			typed)}
	}
	path, sites, err := sitesOf()
	if err != nil {
		return err
	}
	s := config.NamedSite{Address: strings.TrimRight(address, "/")}
	if file, _ := c.Flags().GetString("code-file"); file != "" {
		if _, err := codeOf(c); err != nil { // one that cannot be read is told now
			return err
		}
		if s.CodeFile, err = filepath.Abs(file); err != nil {
			return err
		}
	}
	_, known := sites[name]
	sites[name] = s
	if err := config.WriteSites(path, sites); err != nil {
		return err
	}
	says := fmt.Sprintf("%s is %s now. Ask it: lidwright now --site %s", name, s.Address, name)
	if known {
		says = fmt.Sprintf("%s was another address before. ", name) + says
	}
	return confirm(c, map[string]string{"site": name, "address": s.Address}, says)
}

// siteState is a site of the list and what it answered.
type siteState struct {
	Site    string `json:"site"`
	Address string `json:"address"`
	Answers bool   `json:"answers"`
	Says    string `json:"says"` // its own name, or why it does not answer
}

// listSites asks all sites at once, each for two seconds at most.
func listSites(c *cobra.Command) error {
	_, sites, err := sitesOf()
	if err != nil {
		return err
	}
	all := []siteState{}
	var asked sync.WaitGroup
	for _, name := range slices.Sorted(maps.Keys(sites)) {
		all = append(all, siteState{Site: name, Address: sites[name].Address})
	}
	for i := range all {
		asked.Go(func() {
			ctx, stop := context.WithTimeout(c.Context(), 2*time.Second)
			defer stop()
			all[i].Answers, all[i].Says = answersAt(ctx, all[i].Address)
		})
	}
	asked.Wait()
	if asJSON, _ := c.Flags().GetBool("json"); asJSON {
		return printJSON(c, map[string]any{"items": all})
	}
	if len(all) == 0 {
		fmt.Fprintln(c.OutOrStdout(), "No site is named yet: lidwright sites add NAME HOST:PORT")
		return nil
	}
	rows := [][]string{{"NAME", "ADDRESS", "ANSWERS"}}
	for _, s := range all {
		rows = append(rows, []string{s.Site, s.Address, s.Says})
	}
	table(c.OutOrStdout(), rows)
	return nil
}

// answersAt asks a site what it is called.
func answersAt(ctx context.Context, address string) (bool, string) {
	b, err := (&client.Client{Site: address}).Get(ctx, "/v1/site", nil, "application/json")
	var p *wire.Problem
	switch {
	case errors.As(err, &p):
		return true, p.Title.String()
	case err != nil:
		return false, "no"
	}
	var site struct{ Name string }
	if err := json.Unmarshal(b, &site); err != nil {
		return false, "something else answers there"
	}
	return true, site.Name
}

// completeSites names the sites of the list at Tab.
func completeSites(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	_, sites, err := sitesOf()
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	return slices.Sorted(maps.Keys(sites)), cobra.ShellCompDirectiveNoFileComp
}
