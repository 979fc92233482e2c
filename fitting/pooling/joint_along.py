"""A group's log density with athletes who move along with it, as far as they are not known.

Were an athlete's score t known to be m give or take P^(-1/2), a group that puts it at a w, give or
take b, would leave it at (a w + b^2 P m) / (1 + b^2 P), give or take c = b / sqrt(1 + b^2 P). What
is kept while the group moves is how far from there an athlete is, in terms of c. So a group moves
nearly as it would if there were nothing but it: between keeping athletes where they are (P large)
and keeping their distances from the group's means (P = 0). See Papaspiliopoulos, Roberts & Sköld
(2007, Statistical Science 22:59-73) on such parametrisations.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.joint_density import Group, JointDensity
from slackwater.fitting.pooling.joint_places import NAMES, NOBODY, OF_DIPS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FURTHEST: Final = 33.0  # logit of a share, beyond which it is 0 or 1 to the last digit


class Known(NamedTuple):
    """About what readings say of athletes' scores, E of them: any values do, near ones do best.

    Attributes:
        precision: shape (E,).
        middle: shape (E,).
    """

    precision: Floats
    middle: Floats

    @classmethod
    def of(cls, scores: Floats) -> Known:
        """Take it from scores of athletes alone, shape (draws, E), which the prior is part of."""
        variance = np.maximum(scores.var(axis=0), 1e-6)
        precision = np.maximum(1.0 / variance - 1.0, 1e-3)
        return cls(precision, scores.mean(axis=0) / (variance * precision))


class _Means(NamedTuple):
    """What is about known of J means a w, given shares; slopes are by the share.

    Attributes:
        middle: shape (J,).
        sd: shape (J,).
        by_middle: slopes of the middle.
        by_sd: slopes of the SD.
        more: what is known over what is believed: a^2 over the variance.
        by_more: slopes of that.
    """

    middle: Floats
    sd: Floats
    by_middle: Floats
    by_sd: Floats
    more: Floats
    by_more: Floats


class _Athletes(NamedTuple):
    """What is about known of E scores, given group; slopes are by the share.

    Attributes:
        middle: shape (E,).
        sd: shape (E,).
        by_middle: slopes of the middle, the mean staying as it is.
        by_sd: slopes of the SD.
        more: 1 + b^2 P: what is known over what is believed.
    """

    middle: Floats
    sd: Floats
    by_middle: Floats
    by_sd: Floats
    more: Floats


class Along:
    """A group's log density, given how far athletes are from where it leaves them.

    Of all that is shared but types' log dips and what is about them alone. A point holds how far
    the means of these are from where what is about known leaves them, the logits of their shares,
    and the standard scores of their families' log SDs.
    """

    def __init__(self, joint: JointDensity, scores: Floats) -> None:
        """Take athletes and their group, and draws of all rows' scores of each athlete alone.

        Args:
            joint: athletes and their group.
            scores: shape (draws, R).
        """
        self.joint, rows = joint, joint.rows
        held = [NAMES.index(name) for name in OF_DIPS]
        which = np.flatnonzero((rows.mean != NOBODY) & ~np.isin(rows.quantity, held))
        self.at, self.centre, self.scale = rows.at[which], rows.centre[which], rows.scale[which]
        self.means, self.mean = np.unique(rows.mean[which], return_inverse=True)
        self.shares, self.share = np.unique(rows.quantity[which], return_inverse=True)
        quantities = [NAMES.index(joint.shared[mean][0]) for mean in self.means]
        self.share_of_mean = np.searchsorted(self.shares, quantities)
        self.families = np.flatnonzero(~np.isin(joint.families, held))
        of = np.isin(joint.family_of, self.families)
        self.family_at = joint.family_at[of]
        self.family = np.searchsorted(self.families, joint.family_of[of])
        self.known = Known.of(scores[:, which])
        self.ends = np.cumsum([len(self.means), len(self.shares)])

    def _of_means(self, share: Floats) -> _Means:
        precision, middle = self.known
        each = precision / (1 + share[self.share] * precision)

        def total(values: Floats) -> Floats:
            return np.asarray(np.bincount(self.mean, values, len(self.means)), float)

        told, pull = total(each), total(each * middle)
        by_told, by_pull = -total(each**2), -total(each**2 * middle)
        a2 = (1 - share)[self.share_of_mean]
        more = 1 + a2 * told
        by_more = a2 * by_told - told
        sd = np.sqrt(a2 / more)
        return _Means(
            middle=a2 * pull / more,
            sd=sd,
            by_middle=(a2 * by_pull - pull - a2 * pull * by_more / more) / more,
            by_sd=-0.5 * (more + a2 * by_more) / (more**2 * sd),
            more=more,
            by_more=by_more,
        )

    def _of_athletes(self, share: Floats, means: Floats) -> _Athletes:
        precision, middle = self.known
        b2 = share[self.share]
        more = 1 + b2 * precision
        at = (means[self.mean] + b2 * precision * middle) / more
        sd = np.sqrt(b2 / more)
        return _Athletes(at, sd, precision * (middle - at) / more, 0.5 / (sd * more**2), more)

    def point(self, group: Group) -> Floats:
        """Return the point of a group."""
        share = group.share[self.shares]
        of_means = self._of_means(share)
        means = np.sqrt(1 - share)[self.share_of_mean] * group.means[self.means]
        apart = (means - of_means.middle) / of_means.sd
        return np.concatenate([apart, group.logits[self.shares], group.families[self.families]])

    def kept(self, group: Group, parameters: Floats) -> Floats:
        """Return what athletes keep while the group moves, shape (E,)."""
        share = group.share[self.shares]
        means = np.sqrt(1 - share)[self.share_of_mean] * group.means[self.means]
        of_athletes = self._of_athletes(share, means)
        scores = (parameters[self.at] - self.centre) / self.scale
        return np.asarray((scores - of_athletes.middle) / of_athletes.sd)

    def placed(
        self, point: Floats, group: Group, kept: Floats, parameters: Floats
    ) -> tuple[Group, Floats]:
        """Return the group at a point, and the parameters of athletes there.

        Args:
            point: where the group moves to.
            group: of which all else is taken.
            kept: what athletes keep, shape (E,).
            parameters: of which all else is taken.
        """
        apart, logits, families = np.split(point, self.ends)
        group = Group(*(part.copy() for part in group))
        group.logits[self.shares], group.families[self.families] = logits, families
        share = group.share[self.shares]
        of_means = self._of_means(share)
        means = of_means.middle + of_means.sd * apart
        group.means[self.means] = means / np.sqrt(1 - share)[self.share_of_mean]
        of_athletes = self._of_athletes(share, means)
        return group, self._put(of_athletes.middle + of_athletes.sd * kept, families, parameters)

    def _put(self, scores: Floats, families: Floats, parameters: Floats) -> Floats:
        out = parameters.copy()
        joint, which = self.joint, self.families
        log_sds = joint.family_mean[which] + joint.family_sd[which] * families
        out[self.family_at] = log_sds[self.family]
        out[self.at] = self.centre + self.scale * scores
        return out

    def density(self, point: Floats, kept: Floats, parameters: Floats) -> tuple[float, Floats]:
        """Return the log density at a point, up to a constant, and its slopes.

        Args:
            point: where.
            kept: what athletes keep, shape (E,).
            parameters: of which all that is not of the point is taken.
        """
        nowhere = -np.inf, np.zeros(len(point))
        apart, logits, families = np.split(point, self.ends)
        if np.abs(logits).max() > _FURTHEST:
            return nowhere
        share = 1.0 / (1.0 + np.exp(-logits))
        a2, b2 = (1 - share)[self.share_of_mean], share[self.share]
        of_means = self._of_means(share)
        means = of_means.middle + of_means.sd * apart
        of_athletes = self._of_athletes(share, means)
        scores = of_athletes.middle + of_athletes.sd * kept
        total, slopes = self.joint.of_athletes(self._put(scores, families, parameters))
        if not np.isfinite(total):
            return nowhere
        # log N(t; m, b^2) - log N(t; 0, 1) of scores t, log N(m; 0, a^2) of means m, and what the
        # changes of variables add.
        left = (scores - means[self.mean]) / b2
        total += 0.5 * float((scores**2 - b2 * left**2 - np.log(of_athletes.more)).sum())
        total -= 0.5 * float((means**2 / a2 + np.log(of_means.more)).sum())
        total += float(np.log(share * (1 - share)).sum())
        counts = np.bincount(self.family, minlength=len(families)) - 1.0
        total += 0.5 * float((counts * families**2).sum())
        by_score = slopes[self.at] * self.scale + scores - left
        of_score = by_score * (of_athletes.by_middle + of_athletes.by_sd * kept)
        of_score += 0.5 * (left**2 - self.known.precision / of_athletes.more)
        by_mean = np.bincount(self.mean, by_score / of_athletes.more + left, len(means))
        by_mean = np.asarray(by_mean - means / a2)
        of_mean = by_mean * (of_means.by_middle + of_means.by_sd * apart)
        of_mean -= 0.5 * ((means / a2) ** 2 + of_means.by_more / of_means.more)
        by_share = np.bincount(self.share, of_score, len(share))
        by_share = np.asarray(by_share + np.bincount(self.share_of_mean, of_mean, len(share)))
        by_logit = by_share * share * (1 - share) + 1 - 2 * share
        by_log_sd = np.bincount(self.family, slopes[self.family_at], len(families))
        by_family = self.joint.family_sd[self.families] * by_log_sd + counts * families
        return total, np.concatenate([by_mean * of_means.sd, by_logit, by_family])
