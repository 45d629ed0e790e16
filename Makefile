# lidwright: make run and make test do everything on a fresh machine; DEVELOPERS.md has the rest.
VERSION := $(shell git describe --tags --always --dirty 2>/dev/null || echo unknown)
FLAGS   := -trimpath -ldflags='-s -w -buildid= -X main.version=$(VERSION)'
SUDO    := $(shell [ "$$(id -u)" = 0 ] || echo sudo)
# Debian packages that the tests need: Modbus slaves that nobody here wrote, pseudo-terminal pairs.
PACKAGES := gcc libc6-dev pkg-config libmodbus-dev python3 python3-pymodbus python3-serial socat mbpoll

.PHONY: run build test vet bench soak cross packages clean

run: build
	bin/lidwright practice --folder run

build:
	CGO_ENABLED=0 go build -buildvcs=false $(FLAGS) -o bin/lidwright ./cmd/lidwright

test: packages build vet
	go test -timeout 15m ./...

vet:
	@test -z "$$(gofmt -l api cmd config daemon kiln tiles)" || (gofmt -l api cmd config daemon kiln tiles; echo 'run gofmt -w on these'; exit 1)
	go vet ./...

packages:
	@missing=; for p in $(PACKAGES); do dpkg-query -W -f='$${Status}' $$p 2>/dev/null | grep -q 'ok installed' || missing="$$missing $$p"; done; \
	if [ -n "$$missing" ]; then echo "installing$$missing"; $(SUDO) apt-get update -qq && $(SUDO) env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $$missing >/dev/null; fi

bench:
	go test -run '^$$' -bench . -benchmem ./...

soak:
	LIDWRIGHT_SOAK=1 go test -timeout 3h ./...

cross:
	CGO_ENABLED=0 GOARCH=amd64 go build -buildvcs=false $(FLAGS) -o dist/lidwright-amd64 ./cmd/lidwright
	CGO_ENABLED=0 GOARCH=arm64 go build -buildvcs=false $(FLAGS) -o dist/lidwright-arm64 ./cmd/lidwright
	CGO_ENABLED=0 GOARCH=arm GOARM=6 go build -buildvcs=false $(FLAGS) -o dist/lidwright-armv6 ./cmd/lidwright
	ls -l dist

clean:
	rm -rf bin dist run testout
