"""What is done with the model: read a season, sample, answer, report.

    folder = SeasonFolder("my-season")        # a season folder, each thing in it read once
    recovery(folder).types["typical_days"]    # an answer, from the posterior that lies there
    forecast(folder, nights=3).nights["rmssd_ms"]

    season = read_season("my-season")         # or step by step
    athlete = Athlete(season, fit(season))
    recovery(athlete)

Names are imported when they are first used (`__init__.pyi` lists them): answering needs neither
PyMC nor ArviZ.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
