# Layflat's commands. Each does its own set-up in .venv; only Python 3.11+ and make are needed.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMPS := $(VENV)/.stamps

.PHONY: help setup demo test check bench lock clean

help:
	@echo "make setup   the layflat command in $(VENV)"
	@echo "make demo    the main job on the invented workshop, into demo-out/"
	@echo "make test    all tests"
	@echo "make check   formatting, lint, types, import directions"
	@echo "make bench   benchmarks, as ratios against a peer in the same run"
	@echo "make lock    write the hash-pinned requirements anew"

setup: $(STAMPS)/runtime

$(STAMPS)/venv:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Layflat needs Python 3.11 or newer.")'
	$(PYTHON) -m venv $(VENV) || { echo "Python's venv module is missing; on Debian: apt-get install python3-venv"; exit 1; }
	mkdir -p $(STAMPS) && touch $@

$(STAMPS)/runtime: $(STAMPS)/venv requirements/runtime.txt requirements/build.txt pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/runtime.txt -r requirements/build.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	touch $@

$(STAMPS)/dev: $(STAMPS)/runtime requirements/dev.txt requirements/testdata.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/dev.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --no-deps -r requirements/testdata.txt
	touch $@

demo: setup
	$(BIN)/layflat demo --output demo-out

test: $(STAMPS)/dev
	$(BIN)/python -m pytest -n auto -p no:cacheprovider

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

clean:
	rm -rf $(VENV) demo-out build dist bench/out
