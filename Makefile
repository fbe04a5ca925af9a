# Two commands do everything on a fresh machine: `make run` and `make test`.
# PYTHON may name any CPython from 3.11 to 3.13; the rest is fetched into .venv (to run) and .venv-test (to test).

SHELL := /bin/bash
.DEFAULT_GOAL := help
PORT ?= 8000
RUN := .venv/bin
TEST := .venv-test/bin

help: ## this list
	@grep -hE '^[a-z0-9-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 20

run: ## set up, start the service with a demo sortie replaying, print the address
	@.ci/setup run
	$(RUN)/spinfloor serve --demo --port $(PORT)

test: ## set up, build the wheel, check style and types, run every test against the wheel
	@.ci/setup test
	$(TEST)/ruff format --check services dashboard tests
	$(TEST)/ruff check services dashboard tests
	$(TEST)/mypy
	$(TEST)/python .ci/run_tests.py

develop: ## an editable install in .venv with everything the tests need
	@.ci/setup develop

quick: ## style, types and the tests without browser and servers, in the editable install
	$(RUN)/ruff format --check services dashboard tests
	$(RUN)/ruff check services dashboard tests
	$(RUN)/mypy
	$(RUN)/pytest -q -m "not browser and not servers" -n 2

bench: ## every benchmark of speed, one table of ratios against the committed baseline
	$(RUN)/python -m tests.tools.bench

bench-truth: ## at least 200 flights with known truth: missed, false, wrong, late
	$(RUN)/python -m tests.tools.truth_bench

bench-prediction: ## predicted against actual altitude at level flight, as learning proceeds
	$(RUN)/python -m tests.tools.prediction_bench

bench-screen: ## frame to screen and frame to sound, in a real browser
	$(RUN)/python -m tests.tools.bench_screen

bench-e2e: ## every recording analysed and live with a browser: same events, every call heard
	$(RUN)/python -m tests.tools.bench_e2e

bench-faults: ## kill -9 at random moments, 200 times: nothing acknowledged may be lost
	$(RUN)/python -m tests.tools.bench_faults
	$(RUN)/python -m tests.tools.bench_faults --spread

bench-load: ## sorties x rate until a call takes longer than 20 ms
	$(RUN)/python -m tests.tools.load

bench-long: ## twelve hours flown as fast as it goes: memory stays flat
	$(RUN)/python -m tests.tools.bench_long

fuzz-api: ## thousands of requests made from the published OpenAPI document (some minutes)
	SPINFLOOR_EXAMPLES=$(or $(EXAMPLES),200) $(RUN)/pytest -q tests/api/test_openapi.py

fuzz: ## every decoder with atheris, SECONDS=20 each (hypothesis does it in the suite)
	$(RUN)/python -m tests.tools.fuzz --seconds $(or $(SECONDS),20)

audit: ## known weaknesses in the locked packages, where pip-audit can ask
	$(RUN)/python -m tests.tools.audit

docs: ## build the documentation site into site/
	$(RUN)/python -m tests.tools.build_docs

clean: ## remove what was built (never data)
	rm -rf .venv .venv-test build dist site .pytest_cache .mypy_cache .ruff_cache .hypothesis

.PHONY: help run test develop quick bench bench-truth bench-prediction bench-screen bench-e2e bench-faults bench-load bench-long fuzz-api fuzz audit docs clean
