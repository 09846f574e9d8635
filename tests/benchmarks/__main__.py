"""Every benchmark, one table."""

from tests.benchmarks import assessment, intake, pages, start

for subject in (start, intake, assessment, pages):
    subject.main()
