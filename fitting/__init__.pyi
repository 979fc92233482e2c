from .answers.baseline import baseline
from .answers.compare import compare_attribute, compare_types
from .answers.course import course
from .answers.elements import elements
from .answers.explain import explain
from .answers.forecast import PlannedSession, forecast
from .answers.history import history
from .answers.recovery import recovery
from .answers.washout import washout
from .answers.worth import worth
from .beats.merge import read_beats
from .describing.residuals import residuals
from .folder import SeasonFolder
from .intake.folder import check_season, read_season
from .journey.today import today
from .measures.compare import compare_intervention
from .repeating.repeats import repeats
from .sampling.fit import fit
from .sampling.posterior import Posterior
from .spacing.check import check_spacing
from .spacing.plan import plan_spacing
from .squads.compare import squad_compare
from .squads.folder import SquadFolder
from .squads.learn import squad_fit
from .squads.recovery import squad_recovery
from .squads.today import squad_today
from .state.athlete import Athlete
from .trials.analyse import analyse_trial
from .trials.items import report_items
from .trials.ledger import trial_ledger
from .trials.plan import plan_trial
from .trials.today import trial_today

__all__ = [
    "Athlete",
    "PlannedSession",
    "Posterior",
    "SeasonFolder",
    "SquadFolder",
    "analyse_trial",
    "baseline",
    "check_season",
    "check_spacing",
    "compare_attribute",
    "compare_intervention",
    "compare_types",
    "course",
    "elements",
    "explain",
    "fit",
    "forecast",
    "history",
    "plan_spacing",
    "plan_trial",
    "read_beats",
    "read_season",
    "recovery",
    "repeats",
    "report_items",
    "residuals",
    "squad_compare",
    "squad_fit",
    "squad_recovery",
    "squad_today",
    "today",
    "trial_ledger",
    "trial_today",
    "washout",
    "worth",
]
