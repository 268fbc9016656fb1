# Layflat's commands. Each does its own set-up in .venv; only Python 3.11+ and make are needed.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMPS := $(VENV)/.stamps
NPM := src/layflat/web/npm
NPM_LOCK := $(NPM)/package.json $(NPM)/package-lock.json $(NPM)/.npmrc

.PHONY: help setup demo test check bench lock clean

help:
	@echo "make setup   the layflat command in $(VENV)"
	@echo "make demo    the main job on the invented workshop, into demo-out/, then the app with it"
	@echo "             (make demo SERVE=no stops after the job)"
	@echo "make test    all tests, on SQLite and on a PostgreSQL of their own"
	@echo "make check   formatting, lint, types, import directions"
	@echo "make bench   benchmarks, as ratios against a peer in the same run"
	@echo "make lock    write the hash-pinned requirements anew"

setup: $(STAMPS)/runtime $(STAMPS)/npm

$(STAMPS)/venv:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Layflat needs Python 3.11 or newer.")'
	$(PYTHON) -m venv $(VENV) || { echo "Python's venv module is missing; on Debian: apt-get install python3-venv"; exit 1; }
	mkdir -p $(STAMPS) && touch $@

$(STAMPS)/runtime: $(STAMPS)/venv requirements/runtime.txt requirements/build.txt pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/runtime.txt -r requirements/build.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	touch $@

# npm is the machine's own; where there is none, Node comes as a wheel into $(VENV).
$(STAMPS)/node: $(STAMPS)/venv requirements/node.txt
	if command -v node >/dev/null && command -v npm >/dev/null; then \
	  echo "Node $$(node --version) of this machine is used."; \
	else \
	  $(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/node.txt; \
	fi
	touch $@

# What pages run in the browser, by the lock's hashes.
$(STAMPS)/npm: $(STAMPS)/node $(NPM_LOCK)
	cd $(NPM) && PATH="$$PATH:$(abspath $(BIN))" npm ci --omit=dev
	touch $@

# The same with what browser tests need besides.
$(STAMPS)/npm-dev: $(STAMPS)/npm
	cd $(NPM) && PATH="$$PATH:$(abspath $(BIN))" npm ci
	touch $@

$(STAMPS)/dev: $(STAMPS)/runtime $(STAMPS)/npm-dev requirements/dev.txt requirements/testdata.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/dev.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --no-deps -r requirements/testdata.txt
	touch $@

# A browser for the tests that look at pages: this machine's, or Debian's where it may be installed.
$(STAMPS)/chromium: $(STAMPS)/venv
	if command -v chromium >/dev/null || command -v chromium-browser >/dev/null; then \
	  :; \
	elif [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	  apt-get update --quiet=2 && apt-get install --quiet=2 --yes --no-install-recommends chromium; \
	else \
	  echo "The browser tests need Chromium on the path; on Debian: apt-get install chromium (as root)"; exit 1; \
	fi
	touch $@

# PostgreSQL's programs for the tests, which start a server of their own: likewise.
$(STAMPS)/postgresql: $(STAMPS)/venv
	if command -v initdb >/dev/null || ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1; then \
	  :; \
	elif [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	  apt-get update --quiet=2 && apt-get install --quiet=2 --yes --no-install-recommends postgresql; \
	else \
	  echo "The tests need PostgreSQL's programs (initdb, postgres) on the path; on Debian: apt-get install postgresql (as root)"; exit 1; \
	fi
	touch $@

demo: setup
	$(BIN)/layflat demo --output demo-out
ifneq ($(SERVE),no)
	$(BIN)/layflat serve --demo --data demo-data
endif

# Tests start hundreds of processes; none of them should compile all modules for itself, nor each
# worker make every test's asserts anew.
test: $(STAMPS)/dev $(STAMPS)/chromium $(STAMPS)/postgresql
	$(BIN)/python -m compileall -q -j 0 src/layflat
	PYTHONDONTWRITEBYTECODE= $(BIN)/python -m pytest -n auto --dist worksteal -p no:cacheprovider

check: $(STAMPS)/dev
	$(BIN)/ruff format --check src tests bench docs
	$(BIN)/ruff check src tests bench docs
	$(BIN)/mypy
	$(BIN)/lint-imports --no-cache --no-logo

bench: $(STAMPS)/dev
	$(BIN)/python -m bench

lock: $(STAMPS)/dev
	$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-annotate pyproject.toml --output-file requirements/runtime.txt
	$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-annotate requirements/build.in --output-file requirements/build.txt
	$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-annotate requirements/dev.in --output-file requirements/dev.txt
	$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-annotate requirements/node.in --output-file requirements/node.txt

clean:
	rm -rf $(VENV) $(NPM)/node_modules demo-out demo-data build dist bench/out
