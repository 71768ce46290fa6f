/**
 * What the API gives and takes, as its OpenAPI schema says it. Made by `python -m tests.page_types`; don't edit.
 */

/** @typedef {{arrangement: "portrait"|"landscape", card_turned: boolean, hinge_side: string, sheets: number, papers:
 *   number, cards_per_sheet: number, columns: number, rows: number, cuts: number, waste_percent: number}}
 *   AlternativeOut */
/** @typedef {{files: FileOut[], ignored: IgnoredOut[], revision: number}} ArchiveOut */
/** @typedef {{key: string, file: string, width_px: number, height_px: number, vector: boolean}} ArtOut */
/** @typedef {{finish?: "full"|"inset"|"flooded", pattern?:
 *   "plain"|"beams"|"ripples"|"net"|"links"|"stripes"|"pennants", ground?: string, ink?: string, title?: string,
 *   buffer_mm?: number}} BackAsk */
/** @typedef {{format?: string, version?: number, unit?: "mm", finishes: ChoiceOut[], patterns: ChoiceOut[], defaults:
 *   BackAsk}} BackChoices */
/** @typedef {{key: string, file: string, cards: string[], leeway: LeewayOut|null}} BackOut */
/** @typedef {{format?: string, version?: number, unit?: "mm", svg: string, leeway: LeewayOut, file: string, settings:
 *   Record<string, string>}} BackSeen */
/** @typedef {{card: string, bleed?: "auto"|"art"|"mirror"|"stretch"|"colour"|"none"|null, edges?:
 *   "auto"|"art"|"mirror"|"stretch"|"colour"|"none"|null}} BleedAsk */
/** @typedef {{side: "left"|"top"|"right"|"bottom", says: string, colour: string|null}} BleedEdge */
/** @typedef {{side: "front"|"back", file: string, svg: string, says: string, edges: BleedEdge[], corner_mm: number}}
 *   BleedFace */
/** @typedef {{format?: string, version?: number, unit?: "mm", card: string, name: string, bleed:
 *   "auto"|"art"|"mirror"|"stretch"|"colour"|"none"|null, edges: "auto"|"art"|"mirror"|"stretch"|"colour"|"none",
 *   bleed_mm: number, faces: BleedFace[]}} BleedSeen */
/** @typedef {{net: string, folded: string, says: string}} BoxShown */
/** @typedef {{settings?: {card?: string, bleed_mm?: number|string, safe_mm?: number|string, edges?:
 *   "auto"|"art"|"mirror"|"stretch"|"colour"|"none", back_flood?: string, method?:
 *   "duplex"|"vertical-fold"|"side-fold"|"card-fold"|"two-sheet"|"fronts-only", flip?: "long-edge"|"short-edge",
 *   core_mm?: number|string, fold_on_cut?: boolean|"yes"|"no", hinge_mm?: number|string, hinge_edge?:
 *   boolean|"yes"|"no", paper?: string, stock?: string, reference_mm?: number|string, printer?: string, margin_mm?:
 *   number|string, gutter_mm?: number|string, ink?: "full"|"pale", cut_lines?: "fronts"|"both"|"none", line_style?:
 *   "full"|"ticks", corner_radius_mm?: number|string, registration?: boolean|"yes"|"no", camera_marks?:
 *   boolean|"yes"|"no", box?: ""|"tuck"|"lid", box_clearance_mm?: number|string, box_sleeved?: boolean|"yes"|"no",
 *   box_panels?: string, version?: string, version_mark?: ""|"top"|"bottom"|"left"|"right", arrangement?:
 *   ""|"portrait"|"landscape", card_turned?: ""|"no"|"yes"}, version?: string, since?: string, part?:
 *   "sheets"|"box"|"guide"}} BuildAsk */
/** @typedef {{copies?: number|null, name?: string|null, back?: string|null, out?: boolean|null, swapped?: boolean|null,
 *   bleed?: "auto"|"art"|"mirror"|"stretch"|"colour"|"none"|null}} CardChange */
/** @typedef {{name: string, file: string, front: ArtOut, back: ArtOut|null, copies: number, front_fit: string,
 *   back_fit: string, bleed: "auto"|"art"|"mirror"|"stretch"|"colour"|"none"|null}} CardOut */
/** @typedef {{since: string, method: string, paper: string, ink: string, printer?: string}} ChangeSheetAsk */
/** @typedef {{old: CountedCard, new: CountedCard, what: ("front"|"back"|"copies")[], differs_percent: number|null}}
 *   ChangedCard */
/** @typedef {{since: string, cards: number, added: CountedCard[], gone: CountedCard[], changed: ChangedCard[],
 *   take_out: CountedCard[], printed: CountedCard[]}} ChangesOut */
/** @typedef {{value: string, printed: string, made: string, says: string}} ChoiceLook */
/** @typedef {{paper: ChoiceLook[], method: ChoiceLook[], ink: ChoiceLook[]}} ChoiceLooks */
/** @typedef {{name: string, label: string}} ChoiceOut */
/** @typedef {{same: string[], changed: string[], fresh: string[], renamed: RenamedOut[], gone: string[], unsure:
 *   string[]}} ComparedOut */
/** @typedef {{on: string, drift: DriftOut, wander: WanderOut, readings: ReadingOut[]}} ConfirmedOut */
/** @typedef {{message: string, fix?: string, field?: string|null, id?: string|null, current: DeckRecord}}
 *   ConflictAnswer */
/** @typedef {{settings?: {card?: string, bleed_mm?: number|string, safe_mm?: number|string, edges?:
 *   "auto"|"art"|"mirror"|"stretch"|"colour"|"none", back_flood?: string, method?:
 *   "duplex"|"vertical-fold"|"side-fold"|"card-fold"|"two-sheet"|"fronts-only", flip?: "long-edge"|"short-edge",
 *   core_mm?: number|string, fold_on_cut?: boolean|"yes"|"no", hinge_mm?: number|string, hinge_edge?:
 *   boolean|"yes"|"no", paper?: string, stock?: string, reference_mm?: number|string, printer?: string, margin_mm?:
 *   number|string, gutter_mm?: number|string, ink?: "full"|"pale", cut_lines?: "fronts"|"both"|"none", line_style?:
 *   "full"|"ticks", corner_radius_mm?: number|string, registration?: boolean|"yes"|"no", camera_marks?:
 *   boolean|"yes"|"no", box?: ""|"tuck"|"lid", box_clearance_mm?: number|string, box_sleeved?: boolean|"yes"|"no",
 *   box_panels?: string, version?: string, version_mark?: ""|"top"|"bottom"|"left"|"right", arrangement?:
 *   ""|"portrait"|"landscape", card_turned?: ""|"no"|"yes"}, care?: "money"|"minutes"|"sheets"|"cuts"|"ink",
 *   sheet_price?: number, ink_price?: number}} CostAsk */
/** @typedef {{format?: string, version?: number, unit?: "mm", care: "money"|"minutes"|"sheets"|"cuts"|"ink", rows:
 *   CostRow[], left_out: NotThat[], looked: number, arts: number}} CostOut */
/** @typedef {{method: string, paper: string, sheets: number, papers: number, cuts: number, minutes: number, ink:
 *   InkOut, ink_a4_pages: number, money: number, best: boolean}} CostRow */
/** @typedef {{name: string, copies: number, front: string, back: string|null}} CountedCard */
/** @typedef {{sheet: number, step: number, piece: string, from_mm: [number, number], to_mm: [number, number], stop_mm:
 *   number, stop_from: "left"|"top"|"right"|"bottom", parts_off: "waste"|"strip"|"card", first: [number, number,
 *   number, number]}} CutOut */
/** @typedef {{revision: number, name?: string|null, settings?: {card?: string, bleed_mm?: number|string, safe_mm?:
 *   number|string, edges?: "auto"|"art"|"mirror"|"stretch"|"colour"|"none", back_flood?: string, method?:
 *   "duplex"|"vertical-fold"|"side-fold"|"card-fold"|"two-sheet"|"fronts-only", flip?: "long-edge"|"short-edge",
 *   core_mm?: number|string, fold_on_cut?: boolean|"yes"|"no", hinge_mm?: number|string, hinge_edge?:
 *   boolean|"yes"|"no", paper?: string, stock?: string, reference_mm?: number|string, printer?: string, margin_mm?:
 *   number|string, gutter_mm?: number|string, ink?: "full"|"pale", cut_lines?: "fronts"|"both"|"none", line_style?:
 *   "full"|"ticks", corner_radius_mm?: number|string, registration?: boolean|"yes"|"no", camera_marks?:
 *   boolean|"yes"|"no", box?: ""|"tuck"|"lid", box_clearance_mm?: number|string, box_sleeved?: boolean|"yes"|"no",
 *   box_panels?: string, version?: string, version_mark?: ""|"top"|"bottom"|"left"|"right", arrangement?:
 *   ""|"portrait"|"landscape", card_turned?: ""|"no"|"yes"}|null, cards?: Record<string, CardChange>|null, order?:
 *   string[]|null, proposals?: Record<string, boolean|null>|null}} DeckChange */
/** @typedef {{format?: string, version?: number, unit?: "mm", id: string, name: string, revision: number, can_undo:
 *   boolean, can_redo: boolean, updated: string, settings: DeckSettings, card_chosen: boolean, likely_card:
 *   string|null, files: FileOut[], cards: CardOut[], out: string[], pairs: PairOut[], proposals: ProposalOut[],
 *   problems: ProblemOut[]}} DeckRecord */
/** @typedef {{card?: string, bleed_mm?: number, safe_mm?: number, edges?:
 *   "auto"|"art"|"mirror"|"stretch"|"colour"|"none", back_flood?: string, method?: string, flip?:
 *   "long-edge"|"short-edge", core_mm?: number, fold_on_cut?: boolean, hinge_mm?: number, hinge_edge?: boolean, paper?:
 *   string, stock?: string, reference_mm?: number, printer?: string, margin_mm?: number, gutter_mm?: number, ink?:
 *   "full"|"pale", cut_lines?: "fronts"|"both"|"none", line_style?: "full"|"ticks", corner_radius_mm?: number,
 *   registration?: boolean, camera_marks?: boolean, box?: ""|"tuck"|"lid", box_clearance_mm?: number, box_sleeved?:
 *   boolean, box_panels?: string, version?: string, version_mark?: ""|"top"|"bottom"|"left"|"right", arrangement?:
 *   "portrait"|"landscape"|"", card_turned?: ""|"no"|"yes"}} DeckSettings */
/** @typedef {{id: string, name: string, updated: string, cards: number, files: number, thumb: string|null, thumbs?:
 *   string[], deleted?: string|null, version?: string}} DeckSummary */
/** @typedef {{which: string}} DemoChoice */
/** @typedef {{which: string, name: string, says: string}} DemoOut */
/** @typedef {{demos: DemoOut[]}} DemosOut */
/** @typedef {{decks: DeckSummary[], bin: DeckSummary[], storage: StorageOut}} DeskOut */
/** @typedef {{code: string, url: string}} DoorOut */
/** @typedef {{title: string, says: string, why: string, cautions: StepOut[], drawing: string}} DrawnStep */
/** @typedef {{dx_mm: number, dy_mm: number, rotation_deg: number, scale_x: number, scale_y: number, squareness_deg:
 *   number, greatest_mm: number, matrix: [number, number, number, number, number, number], says: string}} DriftOut */
/** @typedef {{left: number, top: number, right: number, bottom: number}} EdgesOut */
/** @typedef {{message: string, fix?: string, field?: string|null, id?: string|null}} ErrorAnswer */
/** @typedef {{name: string, bytes: number}} ExtraOut */
/** @typedef {{extras: ExtraOut[]}} ExtrasOut */
/** @typedef {{sheet: number, name: "front"|"back"|"spread"}} FaceOut */
/** @typedef {{path: string, key: string, bytes: number, modified: number, kind:
 *   "png"|"jpeg"|"webp"|"tiff"|"avif"|"pdf"|"svg"|"deck-list"|null, width_px: number, height_px: number, pages: number,
 *   problem: ProblemOut|null}} FileOut */
/** @typedef {{path: string, bytes: number, modified: number}} FileStamp */
/** @typedef {{files: FileStamp[]}} FileStamps */
/** @typedef {{readings?: ReadingIn[], plain?: PlainIn|null, paper?: string}} FitAsk */
/** @typedef {{format?: string, version?: number, unit?: "mm", width_mm: number, height_mm: number, drift: DriftOut,
 *   model: "similarity"|"affine"|null, rms_mm: number|null, sheets: number, wander: WanderOut, residuals:
 *   ResidualOut[], suspects: SuspectOut[], notes: string[], trouble: TroubleOut|null}} FitOut */
/** @typedef {{slots: number[], paper: RectOut, panel: RectOut, through: ThroughOut, creases: LineOut[], says: string,
 *   says_wrong: string}} FoldOut */
/** @typedef {{files: ListedFile[]}} FolderListing */
/** @typedef {{gone?: string[], renamed?: Renamed[]}} FolderStep */
/** @typedef {{slot: number, card: number, name: string, front: RectOut, front_rotation: number, back: RectOut|null,
 *   back_rotation: number|null, through: ThroughOut|null, back_key: string|null, look: LookOut|null}} GlowCard */
/** @typedef {{id: string, name: string, state: string, drift: [number, number, number, number, number, number]|null,
 *   says: string, wander_mm: number|null, wander_says: string}} GlowModelsPrinterOut */
/** @typedef {{format?: string, version?: number, unit?: "mm", revision: number, sheet: number, sheets: number, method:
 *   string, method_label: string, has_backs: boolean, one_pass: boolean, in_pairs: boolean, flip:
 *   "long-edge"|"short-edge"|null, page: RectOut, card: RectOut, corner_radius_mm: number, through: ThroughOut|null,
 *   panel: RectOut|null, creases: LineOut[], folds: FoldOut[], spine_mm: number, core_mm: number, stock: GlowStock,
 *   faces: Record<string, string>, front_correction: [number, number, number, number, number, number], back_correction:
 *   [number, number, number, number, number, number], cards: GlowCard[], printer: GlowModelsPrinterOut|null, printers:
 *   PrinterChoice[]}} GlowOut */
/** @typedef {{label: string, grammage_gsm: number, caliper_mm: number, show_through: number}} GlowStock */
/** @typedef {{print_settings: StepOut[], scale_check: StepOut[], build_steps: DrawnStep[], cautions: StepOut[],
 *   handover: StepOut[]}} GuideOut */
/** @typedef {{detail?: ValidationError[]}} HTTPValidationError */
/** @typedef {{status: "ok", version: string}} Health */
/** @typedef {{path: string, reason: string}} IgnoredOut */
/** @typedef {{cyan_percent: number, magenta_percent: number, yellow_percent: number, black_percent: number}} InkOut */
/** @typedef {{format?: string, version?: number, unit?: "mm", id: string, deck_id: string, state:
 *   "queued"|"running"|"done"|"failed"|"cancelled", done: number, total: number, message: string, fix: string, result:
 *   JobResult|null}} JobOut */
/** @typedef {{format: string, version?: number, unit?: "mm", deck: string, method: string, flip: string|null, paper:
 *   string, cards: number, sheets: number, papers: number, pages: number, cards_per_sheet: number, cuts: number,
 *   waste_percent: number, arrangement: "portrait"|"landscape", card_turned: boolean, columns: number, rows: number,
 *   spine_mm: number, outer_bleed: EdgesOut, thickness_says: string, pdf: string|null, plan: string|null, name: string,
 *   bytes: number, left_out?: ProblemOut[], ink?: InkOut|null, ink_saved_percent?: number, changes?: ChangesOut|null}}
 *   JobResult */
/** @typedef {{job: string}} JobStarted */
/** @typedef {{paper_shows_mm: SidesOut, neighbour_shows_mm: SidesOut, art_cut_mm: SidesOut, uneven_mm: SidesOut,
 *   leeway_mm: number|null, clean_mm: number|null, first_rule: "paper_shows"|"neighbour_shows"|"art_cut"|"uneven"|null,
 *   first_side: "left"|"right"|"top"|"bottom"|null, says: string, verdict: "holds"|"holds barely"|"will show"|null,
 *   corners_differ: boolean}} LeewayOut */
/** @typedef {{format?: string, version?: number, unit?: "mm", rules: RuleOut[], backs: BackOut[], missing: string[],
 *   wander_mm: number|null, printer: string|null, has_backs: boolean, one_pass: boolean}} LeewaysOut */
/** @typedef {{start: [number, number], end: [number, number]}} LineOut */
/** @typedef {{id: string, deck_id: string, made: string, url: string}} LinkMade */
/** @typedef {{id: string, deck_id: string, made: string}} LinkOut */
/** @typedef {{links: LinkOut[]}} LinksOut */
/** @typedef {{path: string, bytes: number, modified: number, key?: string}} ListedFile */
/** @typedef {{reach_mm: SidesOut, next_mm: SidesOut, art_mm: SidesOut, border_mm: SidesOut, fold_side:
 *   "left"|"right"|"top"|"bottom"|null}} LookOut */
/** @typedef {{looked: number, pictures: number}} Looked */
/** @typedef {{id: string, name: string, state: "trued up"|"old"|"not trued up", note: string, trued_up: string|null,
 *   says: string, wander_says: string}} MadeFor */
/** @typedef {{left?: number, top?: number, right?: number, bottom?: number}} MarginsIn */
/** @typedef {{id: string, role: "host"|"maker"|"playtester", name: string, deck_id: string|null, lan: boolean}} Me */
/** @typedef {{readings?: ReadingIn[], plain?: PlainIn|null}} Measured */
/** @typedef {{name: string, label: string, summary: string, prints: string, turns: string, faces:
 *   ("front"|"back"|"spread")[], papers_per_sheet: number, papers_per_card: number, drift:
 *   "back page"|"each page"|"one pass", printer_flips: Record<string, "long-edge"|"short-edge"|null>, has_backs:
 *   boolean, uses_flip: boolean, has_crease: boolean, honours: string[]}} MethodOut */
/** @typedef {{missing: string[], known: number}} MissingOut */
/** @typedef {{name: string}} NewDeck */
/** @typedef {{deck_id: string}} NewLink */
/** @typedef {{version: string, decks?: string[], extras?: string[], methods: string[], papers: string[], inks:
 *   ("full"|"pale")[]}} NewRelease */
/** @typedef {{name: string, revision?: number|null}} NewVersion */
/** @typedef {{method: string, paper: string, why: string}} NotThat */
/** @typedef {{pdf: string, name: string, bytes: number, pages: number, moved: number[], says: string, note: string,
 *   warnings: string[]}} NudgedOut */
/** @typedef {{front: string, back: string, why: string, sure: boolean}} PairOut */
/** @typedef {{people: PersonOut[], lan: boolean, doors: Record<string, DoorOut>}} PeopleOut */
/** @typedef {{id: string, role: "host"|"maker"|"playtester", name: string, address: string, deck_id: string|null,
 *   started: string, seen: string, you: boolean}} PersonOut */
/** @typedef {{code: string, message: string, fix: string}} PhotoProblem */
/** @typedef {{photo: string, kind: string|null, stations: StationSeen[], problems: PhotoProblem[], pictures: string[],
 *   off?: SheetOffOut|null}} PhotoRead */
/** @typedef {{format?: string, version?: number, unit?: "mm", sheets: PhotoRead[]}} PhotosRead */
/** @typedef {{dx_mm?: number, dy_mm?: number, rotation_deg?: number, scale?: number}} PlainIn */
/** @typedef {{settings?: {card?: string, bleed_mm?: number|string, safe_mm?: number|string, edges?:
 *   "auto"|"art"|"mirror"|"stretch"|"colour"|"none", back_flood?: string, method?:
 *   "duplex"|"vertical-fold"|"side-fold"|"card-fold"|"two-sheet"|"fronts-only", flip?: "long-edge"|"short-edge",
 *   core_mm?: number|string, fold_on_cut?: boolean|"yes"|"no", hinge_mm?: number|string, hinge_edge?:
 *   boolean|"yes"|"no", paper?: string, stock?: string, reference_mm?: number|string, printer?: string, margin_mm?:
 *   number|string, gutter_mm?: number|string, ink?: "full"|"pale", cut_lines?: "fronts"|"both"|"none", line_style?:
 *   "full"|"ticks", corner_radius_mm?: number|string, registration?: boolean|"yes"|"no", camera_marks?:
 *   boolean|"yes"|"no", box?: ""|"tuck"|"lid", box_clearance_mm?: number|string, box_sleeved?: boolean|"yes"|"no",
 *   box_panels?: string, version?: string, version_mark?: ""|"top"|"bottom"|"left"|"right", arrangement?:
 *   ""|"portrait"|"landscape", card_turned?: ""|"no"|"yes"}, sheet?: number, face?: "front"|"back"|"spread"}} PlanAsk
 *   */
/** @typedef {{format?: string, version?: number, unit?: "mm", settings: DeckSettings, summary: PlanSummary,
 *   alternatives: AlternativeOut[], faces: FaceOut[], shown: FaceOut, svg: string, problems: ProblemOut[], notes:
 *   string[], printer: MadeFor|null, cuts: CutOut[], stops: number, box: BoxShown|null}} PlanOut */
/** @typedef {{format: string, version?: number, unit?: "mm", deck: string, method: string, flip: string|null, paper:
 *   string, cards: number, sheets: number, papers: number, pages: number, cards_per_sheet: number, cuts: number,
 *   waste_percent: number, arrangement: "portrait"|"landscape", card_turned: boolean, columns: number, rows: number,
 *   spine_mm: number, outer_bleed: EdgesOut, thickness_says: string}} PlanSummary */
/** @typedef {{id: string, url: string, qr: string, minutes: number}} PostMade */
/** @typedef {{format?: string, version?: number, unit?: "mm", sheets: PhotoRead[], next: number}} PostOut */
/** @typedef {{id: string, name: string}} PrinterChoice */
/** @typedef {{message: string, fix?: string, field?: string|null, id?: string|null, current: TrueUpModelsPrinterOut}}
 *   PrinterConflict */
/** @typedef {{name: string, paper?: string, flip?: "long-edge"|"short-edge", feed?: string, margins_mm?: MarginsIn,
 *   front_scale?: ScaleIn}} PrinterIn */
/** @typedef {{format?: string, version?: number, unit?: "mm", printers: TrueUpModelsPrinterOut[], deleted:
 *   TrueUpModelsPrinterOut[]}} PrintersOut */
/** @typedef {{file: string, severity: "error"|"warning"|"note", code: string, message: string, fix: string}} ProblemOut
 *   */
/** @typedef {{id: string, group: string, says: string, pairs: PairOut[]}} ProposalOut */
/** @typedef {{sheet: string, station?: number|null, x_mm?: number|null, y_mm?: number|null, dx_mm?: number|null,
 *   dy_mm?: number|null}} ReadingIn */
/** @typedef {{sheet: string, station: number|null, x_mm: number, y_mm: number, dx_mm: number|null, dy_mm: number|null}}
 *   ReadingOut */
/** @typedef {{x: number, y: number, width: number, height: number}} RectOut */
/** @typedef {{file: string, sha256: string, part: "sheets"|"guide"|"box"|"index"|"extra", bytes: number, deck: string,
 *   method: string, paper: string, ink: string, papers: number}} ReleaseFile */
/** @typedef {{id: string, version: string, version_id: string, made: string, name: string, bytes: number, files:
 *   ReleaseFile[]}} ReleaseOut */
/** @typedef {{job: string, release: string}} ReleaseStarted */
/** @typedef {{format?: string, version?: number, unit?: "mm", releases: ReleaseOut[], under_way?: JobOut|null}}
 *   ReleasesOut */
/** @typedef {{path: string, bytes: number, modified: number, was: string}} Renamed */
/** @typedef {{was: string, path: string}} RenamedOut */
/** @typedef {{sheet: string, station: number|null, x_mm: number, y_mm: number, dx_mm: number|null, dy_mm: number|null,
 *   left_dx_mm: number, left_dy_mm: number, suspect: boolean}} ResidualOut */
/** @typedef {{name: "paper_shows"|"neighbour_shows"|"art_cut"|"uneven", title: string, says: string}} RuleOut */
/** @typedef {{x?: number, y?: number}} ScaleIn */
/** @typedef {{x: number, y: number}} ScaleOut */
/** @typedef {{name: string, label: string, hint: string}} SettingChoice */
/** @typedef {{name: string, label: string, kind: "length"|"choice"|"name"|"colour"|"yes-no"|"text"|"printer", hint:
 *   string, unit: "mm"|null, minimum: number|null, maximum: number|null, step: number|null, choices: SettingChoice[],
 *   default: string|number|boolean, option: string, help: string, by_method: boolean, under: string, changes_print:
 *   boolean, playtester: boolean}} SettingOut */
/** @typedef {{lines: [number, number, number, number][], rings: [number, number, number][], discs: [number, number,
 *   number][], texts: TextOut[], number: TextOut}} ShapesOut */
/** @typedef {{dx_mm: number, dy_mm: number, rotation_deg: number|null, scale: number|null, says: string}} SheetOffOut
 *   */
/** @typedef {{left: number|null, right: number|null, top: number|null, bottom: number|null}} SidesOut */
/** @typedef {{name: string, label: string, width_mm: number, height_mm: number, source: string}} SizeOut */
/** @typedef {{number: number, x_mm: number, y_mm: number}} StationOut */
/** @typedef {{station: number, dx_mm: number|null, dy_mm: number|null, sigma_mm: number|null, read: boolean, why:
 *   string|null}} StationSeen */
/** @typedef {{format?: string, version?: number, unit?: "mm", paper: string, paper_label: string, width_mm: number,
 *   height_mm: number, ruler_across_mm: number, ruler_down_mm: number, stations: StationOut[], vernier: VernierOut,
 *   front: ShapesOut, back: ShapesOut}} StationsOut */
/** @typedef {{title: string, says: string, why: string}} StepOut */
/** @typedef {{name: string, label: string, grammage_gsm: number, caliper_mm: number, show_through: number}} StockOut */
/** @typedef {{bytes: number, decks: number}} StorageOut */
/** @typedef {{path: string, key: string, bytes: number, modified: number, kind:
 *   "png"|"jpeg"|"webp"|"tiff"|"avif"|"pdf"|"svg"|"deck-list"|null, width_px: number, height_px: number, pages: number,
 *   problem: ProblemOut|null, duplicate_of: string|null, revision: number}} StoredFile */
/** @typedef {{sheet: string, station: number|null, x_mm: number, y_mm: number, dx_mm: number|null, dy_mm: number|null,
 *   fits_dx_mm: number, fits_dy_mm: number, why: string, says: string}} SuspectOut */
/** @typedef {{format?: string, version?: number, unit?: "mm", papers: SizeOut[], card_sizes: SizeOut[], stocks:
 *   StockOut[], methods: MethodOut[], settings: SettingOut[], defaults: DeckSettings, limits: Record<string, number>,
 *   side_words: string[]}} TablesOut */
/** @typedef {{x: number, y: number, text: string, size_mm: number, anchor: "start"|"middle"|"end"}} TextOut */
/** @typedef {{axis: "vertical"|"horizontal", at: number}} ThroughOut */
/** @typedef {{message: string, fix: string}} TroubleOut */
/** @typedef {{format?: string, version?: number, unit?: "mm", id: string, name: string, revision: number, updated:
 *   string, deleted: string|null, paper: string, paper_label: string, width_mm: number, height_mm: number, flip:
 *   "long-edge"|"short-edge", feed: string, margins_mm: EdgesOut, front_scale: ScaleOut, state:
 *   "trued up"|"old"|"not trued up", trued_up: string|null, note: string, drift: DriftOut|null, wander: WanderOut,
 *   readings: ReadingOut[], sheets: number, confirmed: ConfirmedOut|null, own?: boolean}} TrueUpModelsPrinterOut */
/** @typedef {{loc: (string|number)[], msg: string, type: string, input?: any, ctx?: Record<string, any>}}
 *   ValidationError */
/** @typedef {{gap_mm: number, main_pitch_mm: number, vernier_pitch_mm: number, vernier_lines: number, main_lines:
 *   number, least_count_mm: number, range_mm: number, reach_mm: number, main_band_mm: [number, number],
 *   vernier_band_mm: [number, number]}} VernierOut */
/** @typedef {{name?: string|null, removed?: boolean|null}} VersionChange */
/** @typedef {{id: string, name: string, made: string, cards: number, removed: string|null}} VersionOut */
/** @typedef {{versions: VersionOut[], current: string}} VersionsOut */
/** @typedef {{sheets: number, sx_mm: number|null, sy_mm: number|null, radius_mm: number|null, share: number,
 *   confidence: number, says: string}} WanderOut */

export {};
