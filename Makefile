# Everything here works from a clean checkout with Go and Debian's packages (see .ci/packages).

.PHONY: demo test lint cross bench soak generate

demo:
	go run ./cmd/ringup demo

# What must hold before anything lands. Tests that need a Debian package fail under CI=true if it is missing,
# and skip with its name elsewhere.
test: lint cross
	go test ./...
	cd dashboards/grafana/generate && go vet ./...

lint:
	@unformatted=$$(gofmt -l cmd drivers runner scripts dashboards); \
	if [ -n "$$unformatted" ]; then echo "not gofmt'ed: $$unformatted"; exit 1; fi
	go vet ./...
	go tool staticcheck ./...

# Bench computers are small, and desks run anything.
cross:
	GOOS=linux GOARCH=arm64 CGO_ENABLED=0 go build -o /dev/null ./cmd/ringup
	GOOS=darwin GOARCH=arm64 CGO_ENABLED=0 go build -o /dev/null ./cmd/ringup
	GOOS=windows GOARCH=amd64 CGO_ENABLED=0 go build -o /dev/null ./cmd/ringup

bench:
	go test -run '^$$' -bench . -benchmem ./runner/... ./drivers/... ./dashboards/plot

# The long ones: races, simulations in full, fuzzing, and the whole suite many times over.
soak:
	go test -race ./...
	RINGUP_LONG=1 go test -timeout 2h ./...
	@set -e; for target in $$(grep -rhoE '^func Fuzz[A-Za-z]+' --include='*_test.go' cmd drivers runner scripts dashboards | sed 's/func //' | sort -u); do \
		for package in $$(grep -rlE "^func $$target\\(" --include='*_test.go' cmd drivers runner scripts dashboards | xargs -n 1 dirname | sort -u); do \
			echo "fuzzing $$target in ./$$package"; \
			go test -run '^$$' -fuzz "^$$target\$$" -fuzztime 1m -fuzzminimizetime 1s ./$$package; \
		done; \
	done
	go test -count 5 ./runner/... ./cmd/...

# Everything that is written by a program and kept in the repository.
generate:
	go generate ./...
