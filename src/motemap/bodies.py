"""Camera bodies and what is kept of them: the records of the history and of a trip.

``None`` means unknown, never 0.
"""

from dataclasses import dataclass, field
from typing import Literal

from motemap.changes import StateChange
from motemap.records import Camera, FrameReport, Level, Method, SpotKind, Stack


@dataclass(frozen=True, slots=True, order=True)
class BodyKey:
    """Which body, as far as the metadata or the user say; empty text for unknown."""

    maker: str
    model: str
    serial: str

    @property
    def is_certain(self) -> bool:
        """Whether the key tells this body from another one of its model."""
        return bool(self.serial)

    @property
    def title(self) -> str:
        """Name for people.

        >>> BodyKey("Halvern", "Halvern Q7", "K-20418").title
        'Halvern Q7 no. K-20418'
        """
        has_maker = self.model.casefold().startswith(self.maker.casefold())
        kind = self.model if has_maker else f"{self.maker} {self.model}"
        kind = kind.strip() or "unknown body"
        return f"{kind} no. {self.serial}" if self.serial else f"{kind} (serial unknown)"


def body_key(camera: Camera) -> BodyKey:
    """Name the body a picture comes from; outer and repeated blanks do not count."""
    return BodyKey(_tidy(camera.maker), _tidy(camera.model), _tidy(camera.serial))


def _tidy(text: str | None) -> str:
    return " ".join(text.split()) if text else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptState:
    """One judged state of a body as it is kept.

    Parameters
    ----------
    digest : str
        SHA-256 of what the state was read from; one digest is one record.
    recorded_at : str
        When it was kept, ISO 8601 with zone.
    done : tuple of str
        Cleaning methods used since the state before.
    """

    report: FrameReport
    digest: str
    recorded_at: str
    done: tuple[Method, ...] = ()

    @property
    def is_cleaned(self) -> bool:
        """Whether a cleaning lies before it: only where the user said what was done."""
        return bool(self.done)

    @property
    def moment(self) -> str:
        """When the state was: the time of the shot, else that of keeping it; sorts by time."""
        return self.report.exposure.taken_at or self.recorded_at


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkHistory:
    """What the record knows of one mark.

    Parameters
    ----------
    times_seen : int
        States in which it was seen, the present one included.
    outlived : tuple of str
        Cleaning methods used since it was first seen, in order, repeats kept.
    """

    times_seen: int
    outlived: tuple[Method, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptBody:
    """One body of the record in a line."""

    body: BodyKey
    n_states: int
    first_moment: str
    last_moment: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseStep:
    """One state in the course of a body, and what changed since the one before.

    Parameters
    ----------
    n_showing : int
        Marks that show at the photographer's aperture, reckoned anew for it.
    change : StateChange or None
        None for the first state and where two cannot be compared.
    """

    state: KeptState
    n_found: int
    n_showing: int
    change: StateChange | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Survivor:
    """A mark of the latest state that has outlived at least one cleaning."""

    spot_id: int
    kind: SpotKind
    place: str | None
    particle_um: float | None
    is_showing: bool
    times_seen: int
    outlived: tuple[Method, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comeback:
    """How fast dust comes back.

    Parameters
    ----------
    n_new : int
        Marks that came, and show, between states without a cleaning between them.
    n_days : float
        Length of those times together [days].
    days_to_next : float or None
        Mean time until one more shows [days]; None when it cannot be said.
    is_at_least : bool
        Whether `days_to_next` is only a lower bound, nothing having come so far.
    """

    n_new: int = 0
    n_days: float = 0.0
    days_to_next: float | None = None
    is_at_least: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyCourse:
    """All that the record says of one body."""

    body: BodyKey
    steps: tuple[CourseStep, ...]
    survivors: tuple[Survivor, ...] = ()
    stack: Stack | None = None
    comeback: Comeback = field(default_factory=Comeback)


TripState = Literal["ready", "clean", "reshoot", "stale", "missing", "unreadable"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TripBody:
    """One body before a trip.

    Parameters
    ----------
    report : FrameReport or None
        Its latest state; None for an expected body of which there is no picture.
    n_frames : int
        Frames that the latest state was made of.
    n_states : int
        States in the folder, of which only the latest was judged.
    age_days : float or None
        Age of the latest state [days].
    minutes : float or None
        Rough time the advised cleaning takes [min].
    """

    body: BodyKey
    state: TripState
    level: Level | None = None
    method: Method | None = None
    minutes: float | None = None
    n_showing: int | None = None
    n_frames: int = 0
    n_states: int = 1
    age_days: float | None = None
    report: FrameReport | None = None
    notes: tuple[str, ...] = ()

    @property
    def may_be_several(self) -> bool:
        """Whether the states may be of several bodies, all but one of them not judged."""
        return self.n_states > 1 and not self.body.is_certain


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """Every body of a trip, and frames that belong to none."""

    bodies: tuple[TripBody, ...]
    unreadable: tuple[FrameReport, ...] = ()
