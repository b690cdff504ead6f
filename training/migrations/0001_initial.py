import datetime

import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import training.models.people


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        migrations.CreateModel(
            name="Course",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.CharField(max_length=24, unique=True, verbose_name="code")),
                ("title", models.CharField(max_length=120, verbose_name="title")),
            ],
            options={
                "ordering": ["code"],
            },
        ),
        migrations.CreateModel(
            name="User",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                (
                    "last_login",
                    models.DateTimeField(blank=True, null=True, verbose_name="last login"),
                ),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "employee_number",
                    models.CharField(max_length=32, unique=True, verbose_name="employee number"),
                ),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="e-mail")),
                ("is_staff", models.BooleanField(default=False)),
                ("is_active", models.BooleanField(default=True)),
                (
                    "password_is_one_time",
                    models.BooleanField(
                        default=False,
                        help_text="Somebody else knows the password: it opens the page to change it alone.",
                    ),
                ),
                (
                    "date_joined",
                    models.DateTimeField(default=django.utils.timezone.now, editable=False),
                ),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
            ],
            options={
                "ordering": ["employee_number"],
            },
        ),
        migrations.CreateModel(
            name="CourseRevision",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("revision", models.PositiveSmallIntegerField(verbose_name="revision")),
                ("summary", models.TextField(blank=True, verbose_name="summary")),
                ("days", models.PositiveSmallIntegerField(default=1, verbose_name="days")),
                (
                    "course",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="revisions",
                        to="training.course",
                    ),
                ),
            ],
            options={
                "ordering": ["course", "-revision"],
            },
        ),
        migrations.CreateModel(
            name="ClassSession",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("number", models.CharField(max_length=24, unique=True, verbose_name="number")),
                ("room", models.CharField(blank=True, max_length=80, verbose_name="room")),
                ("starts_on", models.DateField(verbose_name="first day")),
                ("ends_on", models.DateField(verbose_name="last day")),
                ("places", models.PositiveSmallIntegerField(default=8, verbose_name="places")),
                (
                    "instructor",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sessions",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "course_revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sessions",
                        to="training.courserevision",
                    ),
                ),
            ],
            options={
                "ordering": ["-starts_on", "number"],
            },
        ),
        migrations.CreateModel(
            name="Enrolment",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="enrolments",
                        to="training.classsession",
                    ),
                ),
            ],
            options={
                "ordering": ["person__full_name"],
            },
        ),
        migrations.CreateModel(
            name="Attendance",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("day", models.DateField(verbose_name="day")),
                ("present", models.BooleanField(verbose_name="present")),
                (
                    "enrolment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attendances",
                        to="training.enrolment",
                    ),
                ),
            ],
            options={
                "ordering": ["day"],
            },
        ),
        migrations.CreateModel(
            name="Exercise",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("code", models.CharField(max_length=24, verbose_name="code")),
                ("revision", models.PositiveSmallIntegerField(default=1, verbose_name="revision")),
                ("title", models.CharField(max_length=120, verbose_name="title")),
                ("summary", models.CharField(blank=True, max_length=200, verbose_name="summary")),
                ("purpose", models.TextField(verbose_name="what it is for")),
                ("drawing", models.CharField(max_length=80, verbose_name="drawing")),
                ("tools", models.JSONField(default=list, verbose_name="tools")),
                ("cautions", models.JSONField(default=list, verbose_name="cautions")),
                ("stages", models.JSONField(default=list, verbose_name="stages asked for")),
                (
                    "allowed_rejects",
                    models.PositiveSmallIntegerField(
                        default=0, verbose_name="rejected joints allowed"
                    ),
                ),
                (
                    "pass_mark",
                    models.DecimalField(
                        decimal_places=2, default=90, max_digits=5, verbose_name="pass mark"
                    ),
                ),
                (
                    "rework_allowed",
                    models.PositiveSmallIntegerField(
                        default=0, verbose_name="reworks allowed a joint"
                    ),
                ),
                ("graders", models.PositiveSmallIntegerField(default=1, verbose_name="graders")),
                (
                    "photographs_wanted",
                    models.BooleanField(default=False, verbose_name="photographs asked for"),
                ),
                ("order", models.PositiveSmallIntegerField(default=0)),
                ("retired_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "ordering": ["order", "code", "-revision"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("code", "revision"), name="exercise_revision_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("pass_mark__gte", 0), ("pass_mark__lte", 100)),
                        name="exercise_pass_mark_is_a_percentage",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("graders__gte", 1), ("graders__lte", 2)),
                        name="exercise_has_one_or_two_graders",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ExerciseStep",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "stage",
                    models.CharField(
                        choices=[
                            ("prepared", "prepared"),
                            ("formed", "formed"),
                            ("soldered", "soldered"),
                            ("cleaned", "cleaned"),
                        ],
                        max_length=12,
                        verbose_name="stage",
                    ),
                ),
                ("order", models.PositiveSmallIntegerField()),
                ("text", models.TextField(verbose_name="what to do")),
                ("source", models.CharField(max_length=200, verbose_name="source")),
                (
                    "exercise",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="steps",
                        to="training.exercise",
                    ),
                ),
            ],
            options={
                "ordering": ["order"],
            },
        ),
        migrations.CreateModel(
            name="Installation",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("organisation", models.CharField(max_length=120, verbose_name="organisation")),
                ("demo_loaded_at", models.DateTimeField(editable=False, null=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("id", 1)), name="installation_is_one_row"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Lesson",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("order", models.PositiveSmallIntegerField()),
                (
                    "day",
                    models.PositiveSmallIntegerField(default=1, verbose_name="day of the course"),
                ),
                ("title", models.CharField(max_length=120, verbose_name="title")),
                ("text", models.TextField(blank=True, verbose_name="what is taught")),
                ("minutes", models.PositiveSmallIntegerField(verbose_name="minutes")),
                (
                    "course_revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="lessons",
                        to="training.courserevision",
                    ),
                ),
                (
                    "exercise",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lessons",
                        to="training.exercise",
                    ),
                ),
            ],
            options={
                "ordering": ["order"],
            },
        ),
        migrations.CreateModel(
            name="Person",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                (
                    "employee_number",
                    models.CharField(max_length=32, unique=True, verbose_name="employee number"),
                ),
                ("full_name", models.CharField(max_length=120, verbose_name="full name")),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="e-mail")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("own", "own staff"),
                            ("contractor", "contractor"),
                            ("visitor", "visitor"),
                        ],
                        default="own",
                        max_length=12,
                        verbose_name="kind",
                    ),
                ),
                ("employer", models.CharField(blank=True, max_length=120, verbose_name="employer")),
                ("language", models.CharField(default="en", max_length=8, verbose_name="language")),
                ("started_on", models.DateField(blank=True, null=True, verbose_name="started on")),
                (
                    "left_on",
                    models.DateField(
                        blank=True,
                        help_text="The last day here.",
                        null=True,
                        verbose_name="left on",
                    ),
                ),
                (
                    "line_lead",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="led",
                        to="training.person",
                        verbose_name="line lead",
                    ),
                ),
            ],
            options={
                "ordering": ["full_name", "employee_number"],
            },
        ),
        migrations.CreateModel(
            name="FormerEmployeeNumber",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                (
                    "employee_number",
                    models.CharField(max_length=32, unique=True, verbose_name="employee number"),
                ),
                ("until_on", models.DateField(verbose_name="held until")),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="former_numbers",
                        to="training.person",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="enrolment",
            name="person",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="enrolments",
                to="training.person",
            ),
        ),
        migrations.AddField(
            model_name="classsession",
            name="people",
            field=models.ManyToManyField(
                related_name="sessions", through="training.Enrolment", to="training.person"
            ),
        ),
        migrations.AddField(
            model_name="user",
            name="person",
            field=models.OneToOneField(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="user",
                to="training.person",
            ),
        ),
        migrations.CreateModel(
            name="Position",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=12, verbose_name="position")),
                ("order", models.PositiveSmallIntegerField()),
                (
                    "joint_type",
                    models.CharField(
                        choices=[
                            ("turret", "turret"),
                            ("bifurcated", "bifurcated terminal"),
                            ("hook", "hook terminal"),
                            ("pierced", "pierced terminal"),
                            ("cup", "solder cup"),
                            ("hole", "plated through-hole"),
                            ("wire", "prepared wire"),
                        ],
                        max_length=12,
                        verbose_name="joint type",
                    ),
                ),
                ("required", models.BooleanField(default=True, verbose_name="required")),
                ("wires", models.PositiveSmallIntegerField(default=1, verbose_name="wires")),
                (
                    "wire_awg",
                    models.PositiveSmallIntegerField(
                        blank=True, null=True, verbose_name="wire gauge, AWG"
                    ),
                ),
                (
                    "stranding",
                    models.CharField(blank=True, max_length=12, verbose_name="stranding"),
                ),
                (
                    "insulation",
                    models.CharField(blank=True, max_length=24, verbose_name="insulation"),
                ),
                (
                    "conductor_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=3,
                        max_digits=6,
                        null=True,
                        verbose_name="conductor diameter, mm",
                    ),
                ),
                (
                    "overall_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=3,
                        max_digits=6,
                        null=True,
                        verbose_name="overall diameter, mm",
                    ),
                ),
                ("forming", models.CharField(blank=True, max_length=120, verbose_name="forming")),
                (
                    "clearance",
                    models.CharField(
                        blank=True, max_length=120, verbose_name="clearance called for"
                    ),
                ),
                (
                    "scope_code",
                    models.CharField(blank=True, max_length=40, verbose_name="scope credited"),
                ),
                (
                    "exercise",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="positions",
                        to="training.exercise",
                    ),
                ),
            ],
            options={
                "ordering": ["order"],
            },
        ),
        migrations.CreateModel(
            name="PracticeRecord",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("scope_code", models.CharField(max_length=40, verbose_name="scope")),
                ("performed_on", models.DateField(verbose_name="done on")),
                (
                    "reference",
                    models.CharField(blank=True, max_length=80, verbose_name="unit or work order"),
                ),
                (
                    "confirmed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="practice",
                        to="training.person",
                    ),
                ),
            ],
            options={
                "ordering": ["-performed_on"],
            },
        ),
        migrations.CreateModel(
            name="PracticeWithdrawal",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("withdrawn_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("reason", models.CharField(max_length=400, verbose_name="reason")),
                (
                    "practice",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withdrawal",
                        to="training.practicerecord",
                    ),
                ),
                (
                    "withdrawn_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Site",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=80, unique=True, verbose_name="name")),
                (
                    "prefix",
                    models.CharField(
                        help_text="Stands at the front of every number given out here, for ever.",
                        max_length=4,
                        unique=True,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^[A-Z]{1,4}$", "One to four capital letters."
                            )
                        ],
                        verbose_name="prefix of public numbers",
                    ),
                ),
                (
                    "time_zone",
                    models.CharField(
                        max_length=64,
                        validators=[training.models.people.known_time_zone],
                        verbose_name="time zone",
                    ),
                ),
                (
                    "working_days",
                    models.JSONField(
                        default=training.models.people.monday_to_friday,
                        help_text="1 is Monday, 7 is Sunday.",
                        verbose_name="working days",
                    ),
                ),
                (
                    "work_starts",
                    models.TimeField(default=datetime.time(7, 0), verbose_name="work starts"),
                ),
                (
                    "work_ends",
                    models.TimeField(default=datetime.time(16, 0), verbose_name="work ends"),
                ),
                (
                    "send_hour",
                    models.PositiveSmallIntegerField(
                        default=6,
                        help_text="In the site's own time.",
                        verbose_name="hour at which reminders go out",
                    ),
                ),
                (
                    "reminder_steps",
                    models.JSONField(
                        default=training.models.people.steps_of_reminders,
                        verbose_name="days before a vision test or a calibration ends to write",
                    ),
                ),
                (
                    "reminders_start_on",
                    models.DateField(
                        blank=True,
                        help_text="What ended before this day is never written about.",
                        null=True,
                        verbose_name="first day of reminders",
                    ),
                ),
                (
                    "address",
                    models.CharField(
                        blank=True, max_length=200, verbose_name="where to go for a class or a test"
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("send_hour__gte", 0), ("send_hour__lte", 23)),
                        name="site_send_hour_on_the_clock",
                    )
                ],
            },
        ),
        migrations.AddField(
            model_name="person",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="people",
                to="training.site",
                verbose_name="site",
            ),
        ),
        migrations.AddField(
            model_name="classsession",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="sessions",
                to="training.site",
            ),
        ),
        migrations.CreateModel(
            name="SiteRole",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("operator", "operator"),
                            ("line_lead", "line lead"),
                            ("instructor", "instructor"),
                            ("quality", "quality"),
                            ("administrator", "administrator"),
                        ],
                        max_length=16,
                        verbose_name="role",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="roles",
                        to="training.site",
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="roles",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Stamp",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("mark", models.CharField(db_index=True, max_length=32, verbose_name="mark")),
                ("issued_on", models.DateField(verbose_name="issued on")),
                (
                    "returned_on",
                    models.DateField(blank=True, null=True, verbose_name="returned on"),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="stamps",
                        to="training.person",
                    ),
                ),
            ],
            options={
                "ordering": ["mark", "issued_on"],
            },
        ),
        migrations.CreateModel(
            name="Tool",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("code", models.CharField(max_length=24, unique=True, verbose_name="code")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("iron", "soldering iron"),
                            ("tip", "tip"),
                            ("mechanical_stripper", "mechanical stripper"),
                            ("thermal_stripper", "thermal stripper"),
                            ("magnifier", "magnifier or microscope"),
                            ("lamp", "lamp"),
                            ("gauge", "gauge or graticule"),
                        ],
                        max_length=24,
                        verbose_name="kind",
                    ),
                ),
                ("name", models.CharField(blank=True, max_length=120, verbose_name="name")),
                ("retired_on", models.DateField(blank=True, null=True, verbose_name="retired on")),
                (
                    "answers_for",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tools",
                        to="training.person",
                        verbose_name="who answers for it",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tools",
                        to="training.site",
                    ),
                ),
            ],
            options={
                "ordering": ["code"],
            },
        ),
        migrations.CreateModel(
            name="Calibration",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("calibrated_on", models.DateField(verbose_name="calibrated on")),
                ("valid_through", models.DateField(verbose_name="good through")),
                ("passed", models.BooleanField(default=True, verbose_name="passed")),
                ("reference", models.CharField(blank=True, max_length=80, verbose_name="report")),
                (
                    "tool",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calibrations",
                        to="training.tool",
                    ),
                ),
            ],
            options={
                "ordering": ["-calibrated_on"],
            },
        ),
        migrations.CreateModel(
            name="VisionTest",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_index=True,
                        default=django.utils.timezone.now,
                        editable=False,
                        verbose_name="recorded at",
                    ),
                ),
                ("test_id", models.CharField(max_length=40, unique=True, verbose_name="number")),
                ("tested_on", models.DateField(verbose_name="tested on")),
                ("passed", models.BooleanField(verbose_name="passed")),
                ("method", models.CharField(blank=True, max_length=80, verbose_name="method")),
                (
                    "with_lenses",
                    models.BooleanField(
                        blank=True, null=True, verbose_name="with glasses or lenses"
                    ),
                ),
                ("examiner", models.CharField(blank=True, max_length=120, verbose_name="examiner")),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="vision_tests",
                        to="training.person",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-tested_on", "-recorded_at", "-test_id"],
            },
        ),
        migrations.CreateModel(
            name="VisionTestWithdrawal",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("withdrawn_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("reason", models.CharField(max_length=400, verbose_name="reason")),
                (
                    "vision_test",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withdrawal",
                        to="training.visiontest",
                    ),
                ),
                (
                    "withdrawn_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="courserevision",
            constraint=models.UniqueConstraint(
                fields=("course", "revision"), name="course_revision_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="attendance",
            constraint=models.UniqueConstraint(
                fields=("enrolment", "day"), name="attendance_once_a_day"
            ),
        ),
        migrations.AddConstraint(
            model_name="exercisestep",
            constraint=models.UniqueConstraint(
                fields=("exercise", "order"), name="exercise_step_order_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="lesson",
            constraint=models.UniqueConstraint(
                fields=("course_revision", "order"), name="lesson_order_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="enrolment",
            constraint=models.UniqueConstraint(
                fields=("session", "person"), name="enrolled_once_in_a_class"
            ),
        ),
        migrations.AddConstraint(
            model_name="user",
            constraint=models.UniqueConstraint(
                django.db.models.functions.text.Lower("email"),
                condition=models.Q(("email", ""), _negated=True),
                name="user_email_is_one_sign_in",
            ),
        ),
        migrations.AddConstraint(
            model_name="position",
            constraint=models.UniqueConstraint(
                fields=("exercise", "name"), name="position_name_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="position",
            constraint=models.UniqueConstraint(
                fields=("exercise", "order"), name="position_order_once"
            ),
        ),
        migrations.AddIndex(
            model_name="practicerecord",
            index=models.Index(
                fields=["person", "scope_code", "performed_on"], name="practice_by_person"
            ),
        ),
        migrations.AddConstraint(
            model_name="person",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("left_on__isnull", True),
                    ("started_on__isnull", True),
                    ("left_on__gte", models.F("started_on")),
                    _connector="OR",
                ),
                name="person_leaves_after_starting",
            ),
        ),
        migrations.AddConstraint(
            model_name="person",
            constraint=models.CheckConstraint(
                condition=models.Q(("employee_number", ""), _negated=True),
                name="person_has_an_employee_number",
            ),
        ),
        migrations.AddConstraint(
            model_name="classsession",
            constraint=models.CheckConstraint(
                condition=models.Q(("ends_on__gte", models.F("starts_on"))),
                name="class_ends_after_it_starts",
            ),
        ),
        migrations.AddConstraint(
            model_name="siterole",
            constraint=models.UniqueConstraint(
                fields=("user", "site", "role"), name="site_role_once_per_user_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="stamp",
            constraint=models.UniqueConstraint(
                fields=("mark", "issued_on"), name="stamp_issued_once_a_day"
            ),
        ),
        migrations.AddConstraint(
            model_name="stamp",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("returned_on__isnull", True),
                    ("returned_on__gte", models.F("issued_on")),
                    _connector="OR",
                ),
                name="stamp_returned_after_issue",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(("valid_through__gte", models.F("calibrated_on"))),
                name="calibration_ends_after_it_was_done",
            ),
        ),
    ]
