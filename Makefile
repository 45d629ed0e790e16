# lidwright: make run and make test do everything on a fresh machine; DEVELOPERS.md has the rest.
VERSION := $(shell git describe --tags --always --dirty 2>/dev/null || echo unknown)
# Texts of pages are closures, and huma's routes are made anew for each pair of types: what would be written in
# line of both stands in the program once (3.2 and 0.8 MB of it).
FLAGS    = -trimpath -gcflags=lidwright/api/pages=-l -gcflags=lidwright/api=-l -ldflags='-s -w -buildid= -X main.version=$(VERSION)'
# As Debian orders them: a tag v1.2 is 1.2, a commit after it 1.2+3.gabc, one before any tag 0~DATE.abc.
DEBVERSION := $(or $(shell git describe --tags --match 'v*' 2>/dev/null | sed 's/^v//; s/-\([0-9]*\)-g/+\1.g/'),0~$(shell TZ=UTC git log -1 --date=format-local:%Y%m%d%H%M --format=%cd.%h 2>/dev/null))
SUDO    := $(shell [ "$$(id -u)" = 0 ] || echo sudo)
# Debian packages that the tests need: Modbus slaves that nobody here wrote, pseudo-terminal pairs, another processor.
PACKAGES := gcc libc6-dev pkg-config libmodbus-dev python3 python3-pymodbus python3-serial python3-serial-asyncio socat mbpoll prometheus qemu-user strace lintian systemd adduser
PACKAGES += chromium zbar-tools
# A broker, displays and a relay for e-mail by other hands; the broker's service is masked before it is installed.
PACKAGES += mosquitto mosquitto-clients python3-aiosmtpd
# A real database for the collector's tests, of which no cluster is made or started: each test binary starts its own.
PACKAGES += postgresql

# By this file Debian's package makes no cluster when it is installed.
NOCLUSTER := /etc/postgresql-common/createcluster.conf

# By this link no broker is started, neither now nor at the next boot: systemctl unmask mosquitto takes it away.
NOBROKER := /etc/systemd/system/mosquitto.service

.PHONY: run run-collector build program generate test vet bench bench-scale race fuzz soak fresh calibration mutants cross deb deb-collect packages clean

run: build
	bin/lidwright practice --folder run

build:
	CGO_ENABLED=0 go build -buildvcs=false $(FLAGS) -o bin/ ./cmd/lidwright ./cmd/lidwright-collect

# The program for a Pi as its packages have it, at another place: tests weigh and start it.
program: OUT := bin/lidwright
program:
	CGO_ENABLED=0 go build -buildvcs=false $(FLAGS) -o $(OUT) ./cmd/lidwright

# The collector with a database of its own and three practice studios; Debian's postgresql is installed for it.
run-collector: PACKAGES := postgresql
run-collector: packages build
	bin/lidwright-collect try --folder run-collector

# The Go of the compiled pages from their sources, after a change to one of them.
generate:
	go tool -modfile=deploy/tools/go.mod templ fmt api/pages
	go tool -modfile=deploy/tools/go.mod templ generate -path api/pages

# Every text that a further language needs, each with an empty line for its own below it: make language TAG=fr
TAG := xx
language:
	@mkdir -p dist
	awk 'NR == 1 { print "# NAME 1.5"; next } /^= / { print "= "; next } { print }' api/pages/words.de.txt > dist/words.$(TAG).txt
	@echo "dist/words.$(TAG).txt: `grep -c '^= ' dist/words.$(TAG).txt` texts"

test: packages build vet
	go test -timeout 3h ./...

# The race detector needs a C compiler, and makes tests some five to ten times slower.
race: packages
	CGO_ENABLED=1 nice -n 10 go test -race -p 1 -timeout 12h ./...

vet:
	@test -z "$$(gofmt -l api cmd config daemon deploy kiln tiles)" || (gofmt -l api cmd config daemon deploy kiln tiles; echo 'run gofmt -w on these'; exit 1)
	go vet ./...
	go tool -modfile=deploy/tools/go.mod staticcheck ./...

packages:
	@missing=; for p in $(PACKAGES); do dpkg-query -W -f='$${Status}' $$p 2>/dev/null | grep -q 'ok installed' || missing="$$missing $$p"; done; \
	case "$$missing" in *postgresql*) $(SUDO) sh -c 'test -e $(NOCLUSTER) || { mkdir -p $(dir $(NOCLUSTER)) && echo "create_main_cluster = false" >$(NOCLUSTER); }' || exit 1;; esac; \
	case " $$missing " in *' mosquitto '*) $(SUDO) sh -c 'mkdir -p $(dir $(NOBROKER)) && { test -e $(NOBROKER) || ln -sf /dev/null $(NOBROKER); }' || exit 1;; esac; \
	if [ -n "$$missing" ]; then echo "installing$$missing"; $(SUDO) apt-get update -qq && $(SUDO) env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends -o Dpkg::Options::=--force-confold $$missing >/dev/null; fi

bench:
	go test -run '^$$' -bench . -benchmem ./...

# How what is asked of the store grows from ten years of a studio to ten times the user: a table with exponents.
bench-scale:
	go test -run '^$$' -bench '^BenchmarkScale$$' -benchtime 1x -timeout 1h ./daemon/store

# Each parser of the line and of tables for FUZZTIME; a count is taken too: make fuzz FUZZTIME=10000000x
FUZZTIME := 10s
fuzz:
	go test -run '^$$' -fuzz '^FuzzTable$$' -fuzztime $(FUZZTIME) ./kiln/delimited
	@for f in $$(grep -ho '^func Fuzz[A-Za-z]*' kiln/source/*_test.go | cut -c6-); do echo $$f; go test -run '^$$' -fuzz "^$$f\$$" -fuzztime $(FUZZTIME) ./kiln/source || exit 1; done

# Faults that are put into the code one by one, and which of them no test notices: a night. Another sample,
# or a larger one: make mutants SEED=2 MUTANTS=60; one package: make mutants MUTATED=./config;
# two faults at a time on an idle machine: TOGETHER=2
SEED    := 1
MUTANTS := 30
TOGETHER := 1
MUTATED := ./kiln/... ./tiles/... ./daemon/store/... ./config
mutants: packages
	go run -C deploy/tools ./mutants -root $(CURDIR) -seed $(SEED) -n $(MUTANTS) -together $(TOGETHER) $(MUTATED)
	go run -C deploy/tools ./mutants -root $(CURDIR) -n 0 -together $(TOGETHER) ./api/auth

# The README's two commands on a clean Debian 12 and 13, as root and as a user with sudo: as root, hours.
# One release alone: make fresh DEBIANS=trixie; the packages and programs of the tests alone: DEBIANS='bookworm short'
DEBIANS := bookworm trixie
fresh: PACKAGES := debootstrap git
fresh: packages
	LIDWRIGHT_FRESH='$(DEBIANS)' go test -count=1 -timeout 6h -v -run '^TestFresh$$' ./cmd/lidwright

# Spreadsheets and statistics whose tables are taken in; Node 20.19 or newer is looked for and not installed.
soak: PACKAGES += debootstrap e2fsprogs libreoffice-calc-nogui r-base-core
soak: packages
	LIDWRIGHT_SOAK=1 go test -timeout 3h ./...

# What was said against what came true, a picture a kind of answer, from the simulators: ten minutes to an hour. Those
# that the help shows lie in api/topics; copy them there.
CALIBRATION := $(CURDIR)/dist/calibration
calibration:
	LIDWRIGHT_SOAK=1 LIDWRIGHT_CALIBRATION=$(CALIBRATION) go test -count=1 -timeout 3h \
		-run 'TestReplacementIn|TestStatedChance|TestRanges|TestProbeRange|TestLeatherCheck|TestBoardsTeach' ./tiles/lid ./tiles/shrinkage ./kiln/heatwork

cross:
	CGO_ENABLED=0 GOARCH=amd64 go build -buildvcs=false $(FLAGS) -o dist/lidwright-amd64 ./cmd/lidwright
	CGO_ENABLED=0 GOARCH=arm64 go build -buildvcs=false $(FLAGS) -o dist/lidwright-arm64 ./cmd/lidwright
	CGO_ENABLED=0 GOARCH=arm GOARM=6 go build -buildvcs=false $(FLAGS) -o dist/lidwright-armv6 ./cmd/lidwright
	ls -l dist

# Processors of the packages as Debian and Go call them; one alone: make deb ARCHES=amd64/amd64/ DIST=/tmp/x
ARCHES := amd64/amd64/ arm64/arm64/ armhf/arm/6
DIST   := dist

# The same commit makes the same packages to the last bit: one time for every file, that of the commit.
deb deb-collect: export SOURCE_DATE_EPOCH = $(shell git log -1 --format=%ct)
deb deb-collect: export MTIME = $(shell TZ=UTC git log -1 --date=format-local:%Y-%m-%dT%H:%M:%SZ --format=%cd)
deb deb-collect: export VERSION = $(DEBVERSION)
deb: PROGRAM := lidwright
deb: NFPM := deploy/deb/nfpm.yaml
# The collector's package; it wants a larger machine than the oldest Pis.
deb-collect: PROGRAM := lidwright-collect
deb-collect: NFPM := deploy/deb/collect/nfpm.yaml
deb-collect: ARCHES := amd64/amd64/ arm64/arm64/
deb-collect: DIST := dist/collect
deb deb-collect:
	rm -rf $(DIST) && mkdir -p $(DIST)
	for a in $(ARCHES); do set -- $$(echo $$a | tr / ' '); \
	  CGO_ENABLED=0 GOARCH=$$2 GOARM=$$3 go build -buildvcs=false $(FLAGS) -o $(DIST)/$(PROGRAM)-$$1 ./cmd/$(PROGRAM) || exit 1; done
	deploy/deb/doc $(DIST)/doc $(PROGRAM) $(ARCHES)
	for a in $(foreach a,$(ARCHES),$(firstword $(subst /, ,$(a)))); do sed "s/@ARCH@/$$a/g; s/@VERSION@/$$VERSION/; s/@MTIME@/$$MTIME/; s,dist/,$(DIST)/," $(NFPM) > $(DIST)/nfpm.yaml && \
	  go run github.com/goreleaser/nfpm/v2/cmd/nfpm@v2.45.2 package -f $(DIST)/nfpm.yaml -p deb -t $(DIST)/ || exit 1; done
	for d in $(DIST)/$(PROGRAM)_*.deb; do dpkg-deb --raw-extract $$d $(DIST)/tree && \
	  dpkg-deb --root-owner-group --threads-max=1 -Zxz -z9 -Sextreme --build $(DIST)/tree $$d >/dev/null && rm -r $(DIST)/tree || exit 1; done
	cd $(DIST) && sha256sum $(PROGRAM)_* && ls -l $(PROGRAM)_*

clean:
	rm -rf bin dist run run-collector testout
