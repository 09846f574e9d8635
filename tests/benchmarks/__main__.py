"""Every benchmark, one table.

Each line is ours over theirs: the median of the pairs by the wall clock, the least and the greatest, the same by
processor time, the two times, and the goal. `python -m tests.benchmarks start intake` runs only those subjects.
"""

import sys

from tests.benchmarks import SUBJECTS, subject

for name in sys.argv[1:] or SUBJECTS:
    subject(name).main()
