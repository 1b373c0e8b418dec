# What one does with tugback from its source folder. `make` alone says what there is.
#
# Everything is built in one profile, release, also the tests: the speech recogniser and the audio decoders are then
# compiled once and not twice, and the tests judge the program that people run.

PREFIX ?= /usr/local
CARGO ?= cargo
SAMPLE ?= audio-samples/incisor.flac
DEMO_LOG ?= demo-log.json

TUGBACK = target/release/tugback

.PHONY: help
help:
	@echo 'make demo        set up what is missing, build, and turn a spoken sample into a procedure log'
	@echo 'make test        set up what is missing, then every check that a change must pass'
	@echo 'make install     build and copy the program and its speech models under PREFIX ($(PREFIX))'
	@echo 'make uninstall   take them away again'
	@echo 'make bench       time the program against two other ways of listening'
	@echo 'make bench-words time the way from words to entries: an hour, ten and a hundred'
	@echo 'make bench-live  measure how late the log is while somebody speaks (BENCH_AUDIO; takes as long as that lasts)'
	@echo 'make calibrate   fit the doubts to the recordings in AUDIO, whose words are in TEXTS'
	@echo 'make soak        make the log of HOURS=$(HOURS) of speech: memory, times, nothing lost or doubled'
	@echo 'make fuzz        send broken recordings into the reader for FUZZ_S=$(FUZZ_S) seconds'
	@echo 'make clean-demo  remove what make demo wrote'

# ---- for everybody

.PHONY: demo
demo: build
	@echo
	@echo '$$ $(TUGBACK) log $(SAMPLE) -o $(DEMO_LOG)'
	@./$(TUGBACK) log $(SAMPLE) -o $(DEMO_LOG)
	@scripts/next-steps.sh $(SAMPLE) $(DEMO_LOG)

.PHONY: build
build:
	@scripts/setup.sh
	$(CARGO) build --release --locked

.PHONY: install
install: build
	install -d '$(DESTDIR)$(PREFIX)/bin' '$(DESTDIR)$(PREFIX)/share/tugback/models'
	install -m 755 $(TUGBACK) '$(DESTDIR)$(PREFIX)/bin/tugback'
	install -m 644 models/*.bin models/SHA256SUMS models/README.md models/LICENSE-* \
	    '$(DESTDIR)$(PREFIX)/share/tugback/models'

.PHONY: uninstall
uninstall:
	rm -f '$(DESTDIR)$(PREFIX)/bin/tugback'
	rm -rf '$(DESTDIR)$(PREFIX)/share/tugback'

.PHONY: clean-demo
clean-demo:
	rm -f $(DEMO_LOG) audio-samples/*.log.json

# ---- for people who work on it: the same as .ci/run

.PHONY: test
test: setup-test
	$(CARGO) fmt --check
	$(CARGO) clippy --release --locked --all-targets -- -D warnings
	$(CARGO) clippy --release --locked --all-targets --no-default-features -- -D warnings
	$(CARGO) test --release --locked
	@if scripts/setup-browser.sh; then node tests/browser/run.mjs; fi
	RUSTDOCFLAGS='-D warnings' $(CARGO) doc --release --locked --no-deps
	@if $(CARGO) deny --version >/dev/null 2>&1; \
	then $(CARGO) deny check bans licenses sources; \
	else echo 'cargo-deny is not installed: the licences were judged by tests/tidy/licences.rs alone'; fi

.PHONY: setup-test
setup-test:
	@scripts/setup.sh --test

# A long day in one recording, and dictation gone wild for WILD_S seconds; by hand, before a release. SOAK_DIR needs 115 MB
# for each hour.
HOURS ?= 3
SOAK_DIR ?= /tmp
WILD_S ?= 600
.PHONY: soak
soak: build
	$(CARGO) run --release --locked --example soak -- $(HOURS) $(SOAK_DIR)
	KILLS=200 $(CARGO) test --release --locked --test record killed -- --nocapture
	TUGBACK_SOAK_SECONDS=$(WILD_S) $(CARGO) test --release --locked --test language wild -- --nocapture

# Cut, filled, shifted and lying recordings, in a process that may hold 2 GB; by hand, before a release.
FUZZ_S ?= 600
.PHONY: fuzz
fuzz:
	$(CARGO) test --release --locked --test audio --no-run
	ulimit -v 2000000; TUGBACK_SOAK_SECONDS=$(FUZZ_S) \
	    $(CARGO) test --release --locked --test audio soak -- --nocapture

# The program against two other ways of listening, in one run; sets up what it needs below target (pip), writes
# docs/performance.md. BENCH_AUDIO names recordings, else it takes those in audio-samples. The program is also built as it
# would be for other computers, in a folder of its own.
BENCH_AUDIO ?=
.PHONY: bench
bench: build
	$(CARGO) build --release --locked --example whole
	GGML_NATIVE=OFF CARGO_TARGET_DIR=target/avx2 $(CARGO) build --release --locked --bin tugback
	tests/bench/setup.sh
	tests/bench/bench.py $(BENCH_AUDIO)

.PHONY: bench-words
bench-words:
	$(CARGO) bench --locked --bench words

# How late the log is while somebody speaks, and how far it falls behind without pauses. In real time.
.PHONY: bench-live
bench-live: build
	$(CARGO) build --release --locked --example live
	target/release/examples/live $(or $(BENCH_AUDIO),$(wildcard audio-samples/*.flac))
	target/release/examples/live --without-pauses 300 $(or $(BENCH_AUDIO),$(wildcard audio-samples/*.flac))

# Fits the doubts again: AUDIO names folders of recordings with <id>.times.json, TEXTS a folder with <id>.toml
# (tests/calibrate/calibrate.rs says what is in them). Hears every recording in every way first, which takes a third of its
# length, and keeps that below target/tapes: remove it when the listening itself was changed. Writes
# src/listen/calibration.tsv and docs/reliability.md; build and measure again afterwards.
AUDIO ?=
TEXTS ?=
CALIBRATE = target/release/examples/calibrate
SIGNALS = target/signals.tsv
.PHONY: calibrate
calibrate:
	@test -n '$(AUDIO)' -a -d '$(TEXTS)' || { echo 'make calibrate AUDIO="FOLDER …" TEXTS=FOLDER' >&2; exit 2; }
	@scripts/setup.sh
	$(CARGO) build --release --locked --example calibrate
	for folder in $(AUDIO); do \
	    tapes="target/tapes/$$(basename "$$folder")"; \
	    find "$$folder" -name '*.times.json' | sed 's/\.times\.json$$//' | sort | while read -r stem; do \
	        find "$$stem".* ! -name '*.json' | head -n 1; done | xargs -d '\n' $(CALIBRATE) tape "$$tapes" >&2 && \
	    $(CALIBRATE) signals tuned "$$tapes" "$$folder" '$(TEXTS)' || exit 1; done >$(SIGNALS)
	$(CALIBRATE) fit $(SIGNALS) >target/calibration.tsv && cp target/calibration.tsv src/listen/calibration.tsv
	$(CALIBRATE) reliability $(SIGNALS) >target/reliability.md && cp target/reliability.md docs/reliability.md
