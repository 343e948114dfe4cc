"""What the panels of one window remember from frame to frame."""

from __future__ import annotations

from dataclasses import dataclass, field

from composer.viewer.panels.about_head import AboutHead
from composer.viewer.panels.bake import Bake
from composer.viewer.panels.board.state import Board
from composer.viewer.panels.findings import Findings
from composer.viewer.panels.key_sheet import KeySheet
from composer.viewer.panels.match import MatchSheet
from composer.viewer.panels.movers import Movers
from composer.viewer.panels.new_head.does_it_sit import DoesItSit
from composer.viewer.panels.new_head.where_is_it import WhereIsIt
from composer.viewer.panels.recipes.state import Recipes
from composer.viewer.panels.reference_menu import ReferenceMenu
from composer.viewer.panels.regions import RegionList
from composer.viewer.panels.save_picture import PictureSheet
from composer.viewer.panels.sheets import Sheets
from composer.viewer.panels.steps import Steps
from composer.viewer.panels.time_strip.match_sheet import TakeSheet
from composer.viewer.panels.time_strip.strip import TimePanel
from composer.viewer.panels.tray import Tray
from composer.viewer.panels.views_menu import ViewsMenu
from composer.viewer.panels.welcome import Welcome
from composer.viewer.session.fitting import Fitting
from composer.viewer.session.painting import Painting
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.session.trying import Trying
from composer.viewer.tools.desk import Desk, GaugeReading, PullReading
from composer.viewer.ui.picture_grid import PictureGrid


@dataclass
class Panels:
    """One field a panel or a tool that remembers anything."""

    welcome: Welcome = field(default_factory=Welcome)
    tray: Tray = field(default_factory=Tray)
    board: Board = field(default_factory=Board)
    recipes: Recipes = field(default_factory=Recipes)
    regions: RegionList = field(default_factory=RegionList)
    bake: Bake = field(default_factory=Bake)
    views: ViewsMenu = field(default_factory=ViewsMenu)
    references: ReferenceMenu = field(default_factory=ReferenceMenu)
    take: TakeSheet = field(default_factory=TakeSheet)
    picture: PictureSheet = field(default_factory=PictureSheet)
    sheets: Sheets = field(default_factory=Sheets)
    match: MatchSheet = field(default_factory=MatchSheet)
    keys: KeySheet = field(default_factory=KeySheet)
    about: AboutHead = field(default_factory=AboutHead)
    where: WhereIsIt = field(default_factory=WhereIsIt)
    sits: DoesItSit = field(default_factory=DoesItSit)
    movers: Movers = field(default_factory=Movers)
    steps: Steps = field(default_factory=Steps)
    findings: Findings = field(default_factory=Findings)
    trying: Trying = field(default_factory=Trying)
    gallery: PictureGrid = field(default_factory=PictureGrid)
    time: TimeStrip = field(default_factory=TimeStrip)
    time_panel: TimePanel = field(default_factory=TimePanel)
    painting: Painting = field(default_factory=Painting)
    fitting: Fitting = field(default_factory=Fitting)
    gauge: GaugeReading = field(default_factory=GaugeReading)
    pulling: PullReading = field(default_factory=PullReading)

    def fresh(self) -> None:
        """Another document is open: what was tried, painted and fitted on the old one is forgotten."""
        self.trying, self.painting, self.findings = Trying(), Painting(), Findings()
        self.time, self.time_panel = TimeStrip(loop=self.time.loop), TimePanel()
        self.bake, self.fitting = Bake(suffix=self.bake.suffix, unit=self.bake.unit), Fitting()
        self.views, self.picture, self.references = ViewsMenu(), PictureSheet(), ReferenceMenu()
        self.board.drag = self.board.typing = None

    def desk(self, stage: Stage) -> Desk:
        """What tools work with now."""
        return Desk(stage, self.trying, self.painting, self.fitting, self.gauge, self.pulling)
