"""The page: a season logged, read and planned in a browser, served on this machine alone.

    files of seasons -> `seasons` (kept, watched) -> `views` (a question each) -> templates

`door` and `guard` let in only who has the opening link; `work` runs what takes long in processes
of their own. Answers, their words and their pictures are the report's; nothing is worked out here.
"""
