# `make run` serves the site, `make test` runs the suite, `make check` the other checks.
# Each begins from nothing and can be repeated. DEVELOPERS.md says more.

PYTHON = python3
BIN = .venv/bin

HOST = 127.0.0.1
PORT = 8000
DATA_DIR ?= $(CURDIR)/var
PUBLIC_URL ?= http://$(HOST):$(PORT)

# Of each of two runs side by side: tests that wait for a browser, a worker or PostgreSQL leave a
# core idle.
TEST_PROCESSES = $(shell $(PYTHON) -c "import os; print(os.cpu_count() or 1)")
PYTEST = $(BIN)/python -m pytest --numprocesses=$(TEST_PROCESSES) --dist=load --maxschedchunk=8

# The same modules are imported by hundreds of processes; compiled once, each starts in a third of
# the time. Where the environment says to keep nothing, that holds for other programs.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help install install-dev secret-key run test test-on-each machines faults deployed check pictures bench load format catalogues clean

help:
	@echo "make run      serve the site with a demo, on http://127.0.0.1:8000"
	@echo "make test     run the tests; REQUIRE=all lets nothing be left out"
	@echo "make test-on-each  run whatever may use a database on SQLite and on PostgreSQL"
	@echo "make machines  have the browser tests go to two machines with no disk in common, by turns"
	@echo "make deployed  install on a bare Debian that is unpacked for it; takes root and minutes"
	@echo "make faults   kill workers, back-ups and restores thirty times, on both queues"
	@echo "make check    lint, types, import contracts, migrations, deployment settings"
	@echo "make install  install what the site runs on into .venv"
	@echo "make pictures take README's pictures of a demo, with Chromium"
	@echo "make bench    measure beside peers; asserts nothing"
	@echo "make load     two hundred people on the deployed form, twice: as it is, and with kills"
	@echo "make format   bring the code into its form"
	@echo "make catalogues  compile the translations under locale/, once their .po has changed"
	@echo "make clean    remove what can be made again; keeps var/ and .venv/"

install:
	@$(PYTHON) config/install.py requirements.txt

install-dev:
	@$(PYTHON) config/install.py requirements-dev.txt

secret-key:
	@$(PYTHON) config/secret_key.py "$(DATA_DIR)/secret_key"

run: install secret-key
	@DATA_DIR="$(DATA_DIR)" PUBLIC_URL="$(PUBLIC_URL)" \
	exec $(BIN)/python manage.py serve --demo --host $(HOST) --port $(PORT)

# Where there is a PostgreSQL, what may use a database and needs no browser runs there, with the one
# test that has a browser before two machines, and on SQLite only what is marked so: between the two, every test.
ON_POSTGRES = -m "database and not browser or several_machines"
ON_SQLITE = -m "each_database or browser or not database"

test-on-each: ON_SQLITE =
test-on-each: test

test: install-dev
	@if [ "$(REQUIRE)" = all ] && [ -z "$$TEST_POSTGRES_URL" ]; then \
		echo "TEST_POSTGRES_URL is not set, and REQUIRE=all lets nothing be left out." >&2; \
		exit 1; \
	fi
	@if [ -z "$$TEST_POSTGRES_URL" ]; then \
		echo "On SQLite:"; \
		env -u DATABASE_URL REQUIRE="$(REQUIRE)" $(PYTEST); \
	else \
		failed=0; log=$$(mktemp); \
		{ DATABASE_URL="$$TEST_POSTGRES_URL" REQUIRE="$(REQUIRE)" \
			$(PYTEST) $(ON_POSTGRES) >"$$log" 2>&1; echo $$? >"$$log.status"; } & \
		echo "On SQLite, all that PostgreSQL does not run, and what is to run on each:"; \
		env -u DATABASE_URL REQUIRE="$(REQUIRE)" $(PYTEST) $(ON_SQLITE) || failed=1; \
		wait; \
		echo "Beside it on PostgreSQL, whatever may use a database:"; \
		cat "$$log"; \
		[ "$$(cat "$$log.status")" = 0 ] || failed=1; \
		rm -f "$$log" "$$log.status"; \
		exit $$failed; \
	fi

machines: install-dev
	@if [ -z "$$TEST_POSTGRES_URL" ]; then \
		echo "TEST_POSTGRES_URL is not set: several machines need a PostgreSQL." >&2; \
		exit 1; \
	fi
	@TWO_MACHINES=yes DATABASE_URL="$$TEST_POSTGRES_URL" REQUIRE="$(REQUIRE)" $(PYTEST) --timeout=1800 tests/browser

faults: install-dev
	@env -u DATABASE_URL FAULT_KILLS=30 REQUIRE="$(REQUIRE)" $(BIN)/python -m pytest -rA \
		tests/services/test_sweep_through_a_worker.py tests/services/test_servers_that_die.py \
		tests/services/test_back_up_and_restore.py

deployed: install-dev
	@env -u DATABASE_URL BARE_DEBIAN=yes $(BIN)/python -m pytest -rA tests/deployment

check: install-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/djangofmt --check templates
	$(BIN)/biome ci --error-on-warnings
	$(BIN)/lint-imports --no-logo
	$(BIN)/mypy .
	@key=$$($(PYTHON) -c "import secrets; print(secrets.token_urlsafe(50))"); \
	set -ex; \
	export SECRET_KEY="$$key" DATA_DIR="$(CURDIR)/var/check" PUBLIC_URL=https://training.example.org; \
	$(BIN)/python manage.py makemigrations --check --dry-run; \
	$(BIN)/python manage.py check --deploy --fail-level WARNING

pictures: install-dev
	@$(BIN)/python -m tests.browser.take_pictures

bench: install-dev
	@$(BIN)/python -m benchmarks.photos
	@$(BIN)/python -m benchmarks.register
	@$(BIN)/python -m benchmarks.work_log
	@$(BIN)/python -m benchmarks.sweep
	@$(BIN)/python -m benchmarks.bench_check
	@$(BIN)/python -m benchmarks.judging
	@$(BIN)/python -m benchmarks.verifying
	@$(BIN)/python -m benchmarks.importing
	@$(BIN)/python -m benchmarks.searching
	@$(BIN)/python -m benchmarks.finding_edges
	@$(BIN)/python -m benchmarks.measuring
	@$(BIN)/python -m benchmarks.class_plan
	@$(BIN)/python -m benchmarks.backing_up

# Twenty minutes, and as many again to fill the plant for the first time. It wants the machine to
# itself, PostgreSQL and Redis from Debian's packages, and 8 GB in /var/tmp or in LOAD_FOLDER.
LOAD_FOLDER ?= /var/tmp/jointworthy-load

load: install-dev
	@$(BIN)/python -m benchmarks.load --folder $(LOAD_FOLDER)
	@$(BIN)/python -m benchmarks.load --folder $(LOAD_FOLDER) --kills

format:
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .
	$(BIN)/djangofmt templates
	$(BIN)/biome check --write

catalogues: install-dev
	@$(BIN)/pybabel compile --directory locale --domain django

clean:
	rm -rf .mypy_cache .ruff_cache .import_linter_cache .pytest_cache var/check var/drawn var/static
	find . -name __pycache__ -not -path "./.venv/*" -prune -exec rm -rf {} +
