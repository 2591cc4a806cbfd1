"""STEP files of plain solids, written out as text: what a test needs of ISO 10303-21 and AP214, and no more."""

from math import atan2, pi

MM = "(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.))"
INCH = "inch"
Point = tuple[float, float, float]
ORIGIN, X, Y, Z = (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def less(axis: Point) -> Point:
    return (-axis[0], -axis[1], -axis[2])


class StepFile:
    """Collects entities; `text` puts the solids into one file."""

    def __init__(self, unit: str = MM) -> None:
        self.lines: list[str] = []
        self.solids: list[str] = []
        self.unit = unit

    def add(self, entity: str) -> str:
        self.lines.append(entity)
        return f"#{len(self.lines)}"

    def point(self, p: Point) -> str:
        return self.add(f"CARTESIAN_POINT('',({p[0]:.9E},{p[1]:.9E},{p[2]:.9E}))")

    def direction(self, d: Point) -> str:
        return self.add(f"DIRECTION('',({d[0]:.9E},{d[1]:.9E},{d[2]:.9E}))")

    def frame(self, p: Point, axis: Point, x: Point) -> str:
        return self.add(f"AXIS2_PLACEMENT_3D('',{self.point(p)},{self.direction(axis)},{self.direction(x)})")

    def vertex(self, p: Point) -> str:
        return self.add(f"VERTEX_POINT('',{self.point(p)})")

    def edge(self, start: str, stop: str, curve: str) -> str:
        return self.add(f"EDGE_CURVE('',{start},{stop},{curve},.T.)")

    def line(self, p: Point, q: Point) -> str:
        way = tuple(b - a for a, b in zip(p, q, strict=True))
        long = sum(w * w for w in way) ** 0.5
        vector = self.add(f"VECTOR('',{self.direction((way[0] / long, way[1] / long, way[2] / long))},{long:.9E})")
        return self.add(f"LINE('',{self.point(p)},{vector})")

    def circle(self, p: Point, radius: float, axis: Point = Z, x: Point = X) -> str:
        return self.add(f"CIRCLE('',{self.frame(p, axis, x)},{radius:.9E})")

    def loop(self, *edges: tuple[str, bool]) -> str:
        turned = [self.add(f"ORIENTED_EDGE('',*,*,{edge},{'.T.' if same else '.F.'})") for edge, same in edges]
        return self.add(f"EDGE_LOOP('',({','.join(turned)}))")

    def face(self, surface: str, *loops: str, same: bool = True) -> str:
        bounds = ",".join(self.add(f"FACE_BOUND('',{loop},.T.)") for loop in loops)
        return self.add(f"ADVANCED_FACE('',({bounds}),{surface},{'.T.' if same else '.F.'})")

    def surface(self, kind: str, frame: str, *sizes: float) -> str:
        return self.add(f"{kind}('',{','.join([frame, *(f'{size:.12E}' for size in sizes)])})")

    def solid(self, *faces: str) -> None:
        shell = self.add(f"CLOSED_SHELL('',({','.join(faces)}))")
        self.solids.append(self.add(f"MANIFOLD_SOLID_BREP('part',{shell})"))

    def shell(self, *faces: str) -> None:
        shell = self.add(f"OPEN_SHELL('',({','.join(faces)}))")
        self.solids.append(self.add(f"SHELL_BASED_SURFACE_MODEL('part',({shell}))"))

    def text(self) -> bytes:
        add = self.add
        length = MM
        if self.unit == INCH:
            base = add(MM)
            measure = add(f"LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),{base})")
            exponents = add("DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)")
            length = f"(CONVERSION_BASED_UNIT('INCH',{measure}) LENGTH_UNIT() NAMED_UNIT({exponents}))"
        unit = add(length)
        angle = add("(NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.))")
        solid_angle = add("(NAMED_UNIT(*) SI_UNIT($,.STERADIAN.) SOLID_ANGLE_UNIT())")
        unsure = add(f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-6),{unit},'distance_accuracy_value','')")
        context = add(
            f"(GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({unsure})) "
            f"GLOBAL_UNIT_ASSIGNED_CONTEXT(({unit},{angle},{solid_angle})) REPRESENTATION_CONTEXT('',''))"
        )
        items = ",".join([self.frame(ORIGIN, Z, X), *self.solids])
        kind = "MANIFOLD_SURFACE_SHAPE_REPRESENTATION" if self._is_open() else "ADVANCED_BREP_SHAPE_REPRESENTATION"
        shape = add(f"{kind}('',({items}),{context})")
        application = add("APPLICATION_CONTEXT('automotive design')")
        add(f"APPLICATION_PROTOCOL_DEFINITION('','automotive_design',2000,{application})")
        product_context = add(f"PRODUCT_CONTEXT('',{application},'mechanical')")
        product = add(f"PRODUCT('part','part','',({product_context}))")
        formation = add(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
        design = add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{application},'design')")
        definition = add(f"PRODUCT_DEFINITION('design','',{formation},{design})")
        of_shape = add(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
        add(f"SHAPE_DEFINITION_REPRESENTATION({of_shape},{shape})")
        head = (
            "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\nFILE_NAME('','',(''),(''),'','','');\n"
            "FILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n"
        )
        body = "".join(f"#{number}={line};\n" for number, line in enumerate(self.lines, 1))
        return f"{head}{body}ENDSEC;\nEND-ISO-10303-21;\n".encode()

    def _is_open(self) -> bool:
        return any("OPEN_SHELL" in line for line in self.lines)


def step_box(size: Point, unit: str = MM, *, left_out: int = 0) -> bytes:
    """A box from the origin; with faces left out it is an open tray."""
    file = StepFile(unit)
    corners = [(a * size[0], b * size[1], c * size[2]) for a in (0, 1) for b in (0, 1) for c in (0, 1)]
    vertices = [file.vertex(corner) for corner in corners]
    edges: dict[tuple[int, int], str] = {}

    def side(start: int, stop: int) -> tuple[str, bool]:
        low, high = min(start, stop), max(start, stop)
        if (low, high) not in edges:
            edges[low, high] = file.edge(vertices[low], vertices[high], file.line(corners[low], corners[high]))
        return edges[low, high], start == low

    walls = [
        ((0, 1, 3, 2), less(X), Y),
        ((4, 6, 7, 5), X, Y),
        ((0, 4, 5, 1), less(Y), X),
        ((2, 3, 7, 6), Y, X),
        ((0, 2, 6, 4), less(Z), X),
        ((1, 5, 7, 3), Z, X),
    ]
    faces = []
    for ring, normal, x in walls[: 6 - left_out]:
        loop = file.loop(*(side(ring[k], ring[(k + 1) % 4]) for k in range(4)))
        faces.append(file.face(file.surface("PLANE", file.frame(corners[ring[0]], normal, x)), loop))
    (file.shell if left_out else file.solid)(*faces)
    return file.text()


def step_cylinder(radius: float, height: float, unit: str = MM, *, with_seam: bool = True) -> bytes:
    """A round rod; its wall has a seam, or is bounded by two circles alone as some programs write it."""
    file = StepFile(unit)
    low, high = file.vertex((radius, 0, 0)), file.vertex((radius, 0, height))
    below, above = (file.circle((0.0, 0.0, z), radius) for z in (0.0, height))
    foot, head = file.edge(low, low, below), file.edge(high, high, above)
    seam = file.edge(low, high, file.line((radius, 0, 0), (radius, 0, height)))
    around = [file.loop((foot, True), (seam, True), (head, False), (seam, False))]
    if not with_seam:
        around = [file.loop((foot, True)), file.loop((head, False))]
    side = file.face(file.surface("CYLINDRICAL_SURFACE", file.frame(ORIGIN, Z, X), radius), *around)
    bottom = file.face(file.surface("PLANE", file.frame(ORIGIN, less(Z), X)), file.loop((foot, False)))
    top = file.face(file.surface("PLANE", file.frame((0, 0, height), Z, X)), file.loop((head, True)))
    file.solid(side, bottom, top)
    return file.text()


def step_cone(radius: float, height: float, unit: str = MM, *, tip_by: str = "seam") -> bytes:
    """A cone with its tip; the tip is the end of a seam, a loop of its own ("vertex"), or not told ("nothing")."""
    file = StepFile(unit)
    low, tip = file.vertex((radius, 0, 0)), file.vertex((0, 0, height))
    foot = file.edge(low, low, file.circle(ORIGIN, radius))
    cone = file.surface("CONICAL_SURFACE", file.frame(ORIGIN, less(Z), X), radius, atan2(radius, height))
    if tip_by == "nothing":
        side = file.face(cone, file.loop((foot, True)))
    elif tip_by == "vertex":
        side = file.face(cone, file.loop((foot, True)), file.add(f"VERTEX_LOOP('',{tip})"))
    else:
        seam = file.edge(low, tip, file.line((radius, 0, 0), (0, 0, height)))
        side = file.face(cone, file.loop((foot, True), (seam, True), (seam, False)))
    bottom = file.face(file.surface("PLANE", file.frame(ORIGIN, less(Z), X)), file.loop((foot, False)))
    file.solid(side, bottom)
    return file.text()


def step_half_ball(radius: float, *, inward: bool = False) -> bytes:
    """A half ball whose round face has its rim as its only bound, and so two halves to choose from."""
    file = StepFile()
    low = file.vertex((radius, 0, 0))
    rim = file.edge(low, low, file.circle(ORIGIN, radius))
    ball = file.surface("SPHERICAL_SURFACE", file.frame(ORIGIN, Z, X), radius)
    side = file.face(ball, file.loop((rim, not inward)), same=True)
    bottom = file.face(file.surface("PLANE", file.frame(ORIGIN, less(Z), X)), file.loop((rim, inward)))
    file.solid(side, bottom)
    return file.text()


def step_sphere(radius: float, unit: str = MM) -> bytes:
    file = StepFile(unit)
    loop = file.add(f"VERTEX_LOOP('',{file.vertex((0, 0, -radius))})")
    file.solid(file.face(file.surface("SPHERICAL_SURFACE", file.frame(ORIGIN, Z, X), radius), loop))
    return file.text()


def step_torus(major: float, minor: float, unit: str = MM) -> bytes:
    file = StepFile(unit)
    start = (major + minor, 0.0, 0.0)
    vertex = file.vertex(start)
    around = file.edge(vertex, vertex, file.circle(ORIGIN, major + minor))
    tube = file.edge(vertex, vertex, file.circle((major, 0, 0), minor, less(Y), X))
    loop = file.loop((around, True), (tube, True), (around, False), (tube, False))
    file.solid(file.face(file.surface("TOROIDAL_SURFACE", file.frame(ORIGIN, Z, X), major, minor), loop))
    return file.text()


def box_area(size: Point) -> float:
    return 2 * (size[0] * size[1] + size[1] * size[2] + size[2] * size[0])


def cylinder_area(radius: float, height: float) -> float:
    return 2 * pi * radius * (radius + height)


def cone_area(radius: float, height: float) -> float:
    return pi * radius * (radius + (radius**2 + height**2) ** 0.5)
