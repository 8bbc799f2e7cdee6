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

# The long ones: races, fuzzing, and the whole suite many times over.
soak:
	go test -race ./...
	go test -run '^$$' -fuzz FuzzJudge -fuzztime 2m ./runner/verdict
	go test -run '^$$' -fuzz FuzzCorpus -fuzztime 1m -fuzzminimizetime 1s ./runner/verdict
	go test -run '^$$' -fuzz FuzzRead -fuzztime 1m -fuzzminimizetime 1s ./runner/verdict/recording
	go test -run '^$$' -fuzz FuzzParse -fuzztime 1m ./runner/bench
	go test -run '^$$' -fuzz FuzzParse -fuzztime 1m ./drivers/link
	for f in FuzzReader FuzzParseNumber FuzzParseBlock FuzzParseIdentity; do go test -run '^$$' -fuzz $$f'$$' -fuzztime 30s ./drivers/scpi || exit 1; done
	for f in FuzzParse FuzzReply FuzzConfirm FuzzExpression; do go test -run '^$$' -fuzz $$f'$$' -fuzztime 30s ./drivers/dialect || exit 1; done
	RINGUP_LONG=1 go test -v -run '^TestWildRecords$$' ./runner/verdict
	RINGUP_LONG=1 go test -v -run '^TestFaultMatrix$$' ./runner
	go test -run '^$$' -fuzz FuzzRead -fuzztime 1m ./runner/crystal/marking
	go test -count 5 ./runner/... ./cmd/...

# Everything that is written by a program and kept in the repository.
generate:
	go generate ./...
