# Everything starts here, in a fresh clone too: `make demo`, `make test`.
#
#   make demo    load the demo practice, issue its letters, serve the site on localhost:8000
#   make serve   serve the site of this machine
#   make test    lint, then every test on SQLite and on PostgreSQL
#   make lint    formatters, types, import contracts, migrations
#   make fuzz    every request of every role to every page, some 20,000
#   make bench   speed, as ratios to a floor measured in the same run

SHELL := /bin/bash
.DEFAULT_GOAL := help

BIN := .venv/bin
PYTHON := $(BIN)/python
READY := .venv/.ready
UV := $(or $(shell command -v uv 2>/dev/null),.uv-bootstrap/bin/uv)
PYTEST := $(PYTHON) -m pytest
# Faults and browsers have runs of their own: they start servers, workers and Chromium.
CALM := --ignore=tests/faults --ignore=tests/browser
# What touches no database, brings one of its own, or is about SQLite's file, is tried once.
ONCE := --ignore=tests/calc --ignore=tests/bench --ignore-glob='tests/project/test_[!m]*' \
	--ignore=tests/privacy/test_database_file.py

# The packages come over the certificates that the system trusts.
export UV_NATIVE_TLS := 1
export UV_PROJECT_ENVIRONMENT := .venv
unexport VIRTUAL_ENV

.PHONY: help demo serve test lint fuzz bench system system-for-tests clean

help:
	@sed -n 's/^#   //p' Makefile

demo: $(READY)
	@exec $(PYTHON) manage.py demo

serve: $(READY)
	@$(PYTHON) manage.py migrate --verbosity 0
	@exec $(PYTHON) manage.py serve

lint: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	find templates -name '*.html' -print0 | xargs -0 -r $(BIN)/djade --check
	$(BIN)/mypy
	$(BIN)/lint-imports --no-logo
	$(PYTHON) manage.py makemigrations --check --dry-run

test: system-for-tests lint
	$(PYTEST) -n 2 $(CALM)
	$(PYTEST) -n 2 -p tests.pg_plugin $(CALM) $(ONCE)
	$(PYTEST) -n 2 tests/faults
	$(PYTEST) -n 2 -p tests.pg_plugin tests/faults
	$(PYTEST) -n 2 tests/browser

fuzz: $(READY)
	FUZZ=all $(PYTEST) tests/access/test_fuzz.py

bench: $(READY)
	@$(PYTHON) -m tests.bench

clean:
	rm -rf .venv .uv-bootstrap .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

system:
	@.ci/system

system-for-tests:
	@.ci/system --tests

# Order-only: the system is looked at every time, the environment is built when the lock changes.
$(READY): uv.lock pyproject.toml | system $(UV)
	$(UV) sync --frozen --quiet
	@touch $@

.uv-bootstrap/bin/uv: | system
	@echo "Fetching uv into .uv-bootstrap ..."
	@python3 -m venv .uv-bootstrap
	@.uv-bootstrap/bin/pip install --quiet uv
