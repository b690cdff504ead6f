import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import certification.models.certificates
import certification.models.schemes


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("records", "0002_initial"),
        ("training", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Scheme",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.CharField(max_length=80, unique=True, verbose_name="code")),
                ("title", models.CharField(max_length=120, verbose_name="title")),
            ],
            options={
                "ordering": ["code"],
            },
        ),
        migrations.CreateModel(
            name="Scope",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.CharField(max_length=40, unique=True, verbose_name="code")),
                ("title", models.CharField(max_length=120, verbose_name="title")),
                ("joint_types", models.JSONField(default=list, verbose_name="joint types")),
                (
                    "document",
                    models.CharField(blank=True, max_length=160, verbose_name="governing document"),
                ),
                (
                    "level",
                    models.CharField(
                        choices=[
                            ("operator", "operator"),
                            ("inspector", "inspector"),
                            ("instructor", "instructor"),
                        ],
                        default="operator",
                        max_length=12,
                        verbose_name="level",
                    ),
                ),
                ("retired_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "ordering": ["level", "title"],
            },
        ),
        migrations.CreateModel(
            name="SiteSweep",
            fields=[
                (
                    "site",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="sweep",
                        serialize=False,
                        to="training.site",
                    ),
                ),
                ("day", models.DateField(verbose_name="last day swept to its end")),
                ("finished_at", models.DateTimeField(verbose_name="finished")),
            ],
        ),
        migrations.CreateModel(
            name="CertificateDocument",
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
                    "file",
                    models.FileField(
                        max_length=120, upload_to=certification.models.certificates.document_path
                    ),
                ),
                ("original_name", models.CharField(max_length=200, verbose_name="file name")),
                ("media_type", models.CharField(max_length=60)),
                ("size_bytes", models.PositiveBigIntegerField()),
                ("sha256", models.CharField(max_length=64)),
                (
                    "added_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Certificate",
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
                ("number", models.CharField(max_length=40, unique=True, verbose_name="number")),
                ("issued_on", models.DateField(verbose_name="issued on")),
                (
                    "valid_through",
                    models.DateField(
                        help_text="As printed; events may end it sooner.",
                        verbose_name="good through, as issued",
                    ),
                ),
                (
                    "restriction",
                    models.CharField(blank=True, max_length=400, verbose_name="restriction"),
                ),
                (
                    "origin",
                    models.CharField(
                        choices=[
                            ("own", "issued here"),
                            ("elsewhere", "from another employer or training centre"),
                            ("imported", "brought over from an earlier register"),
                        ],
                        default="own",
                        max_length=12,
                        verbose_name="origin",
                    ),
                ),
                ("holder_name", models.CharField(max_length=120, verbose_name="name as issued")),
                (
                    "figures",
                    models.JSONField(default=dict, verbose_name="scheme figures as issued"),
                ),
                ("evidence", models.JSONField(default=dict, verbose_name="what it stands on")),
                (
                    "issued_by",
                    models.CharField(blank=True, max_length=160, verbose_name="issued by"),
                ),
                (
                    "issuer_certificate",
                    models.CharField(
                        blank=True, max_length=40, verbose_name="issuer's own certificate"
                    ),
                ),
                (
                    "outside_number",
                    models.CharField(blank=True, max_length=80, verbose_name="number on the paper"),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certificates",
                        to="training.person",
                    ),
                ),
                (
                    "renews",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="renewed_by",
                        to="certification.certificate",
                    ),
                ),
                (
                    "signature",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certificate",
                        to="records.signature",
                    ),
                ),
                (
                    "document",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certificate",
                        to="certification.certificatedocument",
                    ),
                ),
            ],
            options={
                "ordering": ["-issued_on", "-number"],
            },
        ),
        migrations.CreateModel(
            name="CertificateWithdrawal",
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
                    "certificate",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withdrawal",
                        to="certification.certificate",
                    ),
                ),
                (
                    "signature",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="records.signature",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Message",
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
                ("message_id", models.CharField(max_length=120, unique=True)),
                ("recipient", models.CharField(max_length=254, verbose_name="address")),
                ("day", models.DateField(help_text="In the site's calendar.", verbose_name="day")),
                ("subject", models.CharField(max_length=200, verbose_name="subject")),
                ("raw", models.BinaryField()),
                ("due_at", models.DateTimeField(verbose_name="due")),
                ("claimed_at", models.DateTimeField(blank=True, null=True)),
                ("attempts", models.PositiveSmallIntegerField(default=0, verbose_name="attempts")),
                (
                    "answer",
                    models.TextField(blank=True, verbose_name="the mail server's last answer"),
                ),
                (
                    "refused",
                    models.BooleanField(
                        default=False, verbose_name="refused for good by the mail server"
                    ),
                ),
                ("sent_at", models.DateTimeField(blank=True, null=True, verbose_name="sent")),
                ("failed_at", models.DateTimeField(blank=True, null=True, verbose_name="given up")),
                (
                    "withdrawn_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="withdrawn"),
                ),
                ("why_withdrawn", models.CharField(blank=True, max_length=200, verbose_name="why")),
                (
                    "person",
                    models.ForeignKey(
                        blank=True,
                        help_text="Nobody where several people read mail at the address.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="messages",
                        to="training.person",
                        verbose_name="to",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="messages",
                        to="training.site",
                    ),
                ),
            ],
            options={
                "ordering": ["-due_at", "-id"],
            },
        ),
        migrations.CreateModel(
            name="Reminder",
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
                ("source", models.CharField(max_length=80, verbose_name="source")),
                ("kind", models.CharField(max_length=12, verbose_name="what ends")),
                ("ends_on", models.DateField(verbose_name="last good day")),
                (
                    "step",
                    models.SmallIntegerField(
                        help_text="-1 is the day after.", verbose_name="days before"
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "waits for the next message"),
                            ("written", "in a message"),
                            ("listed", "on the printed list: no address"),
                            ("overtaken", "overtaken"),
                            ("dropped", "no longer needed"),
                        ],
                        max_length=12,
                        verbose_name="state",
                    ),
                ),
                ("why", models.CharField(blank=True, max_length=200, verbose_name="why")),
                (
                    "message",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminders",
                        to="certification.message",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminders",
                        to="training.person",
                    ),
                ),
                (
                    "recipient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminders_read",
                        to="training.person",
                        verbose_name="reader",
                    ),
                ),
            ],
            options={
                "ordering": ["-recorded_at", "-id"],
            },
        ),
        migrations.CreateModel(
            name="SchemeRevision",
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
                ("name", models.CharField(max_length=80, unique=True, verbose_name="name")),
                (
                    "validity_months",
                    models.PositiveSmallIntegerField(verbose_name="good for, months"),
                ),
                (
                    "expiry_rule",
                    models.CharField(
                        choices=[
                            ("same_day", "the same day of the month"),
                            ("end_of_month", "the last day of that month"),
                        ],
                        default="same_day",
                        max_length=16,
                        verbose_name="ends on",
                    ),
                ),
                (
                    "renewal_window_days",
                    models.PositiveSmallIntegerField(
                        default=0,
                        verbose_name="days before the end in which renewing keeps the end date",
                    ),
                ),
                (
                    "vision_months",
                    models.PositiveSmallIntegerField(
                        default=0,
                        help_text="0: no vision test asked for.",
                        verbose_name="vision test good for, months",
                    ),
                ),
                (
                    "max_absence_months",
                    models.PositiveSmallIntegerField(
                        default=0,
                        help_text="0: no limit.",
                        verbose_name="longest gap in the work, months",
                    ),
                ),
                (
                    "reminder_steps",
                    models.JSONField(
                        default=certification.models.schemes.default_steps,
                        verbose_name="days before an end to write",
                    ),
                ),
                (
                    "instructor_may_issue",
                    models.BooleanField(
                        default=False,
                        verbose_name="an instructor who graded none of the boards may issue",
                    ),
                ),
                (
                    "grader_needs_standing",
                    models.BooleanField(
                        default=True,
                        verbose_name="graders need standing as inspector or instructor",
                    ),
                ),
                (
                    "published_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="published"),
                ),
                ("retired_at", models.DateTimeField(blank=True, null=True, verbose_name="retired")),
                (
                    "published_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "scheme",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="revisions",
                        to="certification.scheme",
                    ),
                ),
                (
                    "scopes",
                    models.ManyToManyField(
                        blank=True, related_name="scheme_revisions", to="certification.scope"
                    ),
                ),
            ],
            options={
                "ordering": ["scheme__code", "-revision"],
            },
        ),
        migrations.AddField(
            model_name="certificate",
            name="scheme_revision",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="certificates",
                to="certification.schemerevision",
            ),
        ),
        migrations.CreateModel(
            name="SchemeRequirement",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("exercise_code", models.CharField(max_length=24, verbose_name="exercise")),
                (
                    "purposes",
                    models.JSONField(
                        default=list,
                        help_text="Empty: any purpose.",
                        verbose_name="purposes that count",
                    ),
                ),
                (
                    "boards",
                    models.PositiveSmallIntegerField(default=1, verbose_name="boards passed"),
                ),
                (
                    "within_months",
                    models.PositiveSmallIntegerField(
                        default=12,
                        help_text="0: however long ago.",
                        verbose_name="passed within, months",
                    ),
                ),
                (
                    "revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="requirements",
                        to="certification.schemerevision",
                    ),
                ),
                (
                    "scope",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="requirements",
                        to="certification.scope",
                    ),
                ),
            ],
            options={
                "ordering": ["scope", "id"],
            },
        ),
        migrations.CreateModel(
            name="Proposal",
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
                    "restriction",
                    models.CharField(blank=True, max_length=400, verbose_name="restriction"),
                ),
                ("note", models.TextField(blank=True, verbose_name="note")),
                ("evidence", models.JSONField(default=dict, verbose_name="what it stands on")),
                (
                    "decision",
                    models.CharField(
                        blank=True,
                        choices=[("issued", "issued"), ("declined", "declined")],
                        default="",
                        max_length=12,
                        verbose_name="decision",
                    ),
                ),
                ("decided_at", models.DateTimeField(blank=True, null=True)),
                (
                    "decision_reason",
                    models.CharField(blank=True, max_length=400, verbose_name="why"),
                ),
                (
                    "certificate",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="proposal",
                        to="certification.certificate",
                    ),
                ),
                (
                    "decided_by",
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
                        related_name="proposals",
                        to="training.person",
                    ),
                ),
                (
                    "renews",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="certification.certificate",
                    ),
                ),
                (
                    "signature",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="proposal",
                        to="records.signature",
                    ),
                ),
                (
                    "scheme_revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="proposals",
                        to="certification.schemerevision",
                    ),
                ),
                (
                    "scope",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="proposals",
                        to="certification.scope",
                    ),
                ),
            ],
            options={
                "ordering": ["-recorded_at"],
            },
        ),
        migrations.CreateModel(
            name="Operation",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.CharField(max_length=80, unique=True, verbose_name="operation")),
                (
                    "scope",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="operations",
                        to="certification.scope",
                    ),
                ),
            ],
            options={
                "ordering": ["code"],
            },
        ),
        migrations.AddField(
            model_name="certificate",
            name="scope",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="certificates",
                to="certification.scope",
            ),
        ),
        migrations.CreateModel(
            name="StandingSpan",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("first_day", models.DateField(verbose_name="from")),
                ("last_day", models.DateField(null=True, verbose_name="through")),
                ("standing", models.CharField(max_length=24, verbose_name="standing")),
                (
                    "restriction",
                    models.CharField(blank=True, max_length=400, verbose_name="restriction"),
                ),
                ("rule", models.CharField(max_length=40, verbose_name="rule that decided")),
                (
                    "certificate",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="spans",
                        to="certification.certificate",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="spans",
                        to="training.person",
                    ),
                ),
                (
                    "scope",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="spans",
                        to="certification.scope",
                    ),
                ),
            ],
            options={
                "ordering": ["person", "scope", "first_day"],
            },
        ),
        migrations.CreateModel(
            name="StandingEnd",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("certificate", "certificate"),
                            ("vision", "vision test"),
                            ("practice", "practice gap"),
                        ],
                        max_length=12,
                        verbose_name="what ends",
                    ),
                ),
                ("last_day", models.DateField(db_index=True, verbose_name="last good day")),
                ("source", models.CharField(max_length=80, verbose_name="source")),
                (
                    "span",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="ends",
                        to="certification.standingspan",
                    ),
                ),
            ],
            options={
                "ordering": ["last_day", "kind"],
            },
        ),
        migrations.CreateModel(
            name="CertificateEvent",
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
                ("event_id", models.CharField(max_length=40, unique=True, verbose_name="number")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("suspended", "suspended"),
                            ("reinstated", "reinstated"),
                            ("revoked", "revoked"),
                            ("ended", "ended"),
                            ("extended", "extended"),
                            ("voided", "voided"),
                        ],
                        max_length=12,
                        verbose_name="event",
                    ),
                ),
                ("effective_on", models.DateField(verbose_name="effective on")),
                ("until", models.DateField(blank=True, null=True, verbose_name="until")),
                (
                    "authority",
                    models.CharField(blank=True, max_length=160, verbose_name="authority"),
                ),
                ("reason", models.CharField(blank=True, max_length=400, verbose_name="reason")),
                (
                    "certificate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="events",
                        to="certification.certificate",
                    ),
                ),
                (
                    "signature",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="events",
                        to="records.signature",
                    ),
                ),
                (
                    "voids",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="voided_by",
                        to="certification.certificateevent",
                    ),
                ),
            ],
            options={
                "ordering": ["effective_on", "recorded_at", "event_id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "voided"), _negated=True),
                            ("voids__isnull", False),
                            _connector="OR",
                        ),
                        name="event_voided_names_the_event",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "extended"), _negated=True),
                            models.Q(
                                ("until__isnull", False), models.Q(("authority", ""), _negated=True)
                            ),
                            _connector="OR",
                        ),
                        name="event_extended_has_until_and_authority",
                    ),
                ],
            },
        ),
        migrations.AddIndex(
            model_name="message",
            index=models.Index(fields=["sent_at", "due_at"], name="message_due"),
        ),
        migrations.AddConstraint(
            model_name="message",
            constraint=models.UniqueConstraint(
                fields=("recipient", "day"), name="message_one_a_day_each"
            ),
        ),
        migrations.AddIndex(
            model_name="reminder",
            index=models.Index(fields=["recipient", "state"], name="reminder_by_reader_and_state"),
        ),
        migrations.AddConstraint(
            model_name="reminder",
            constraint=models.UniqueConstraint(
                fields=("person", "source", "kind", "ends_on", "step", "recipient"),
                name="reminder_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="schemerevision",
            constraint=models.UniqueConstraint(
                fields=("scheme", "revision"), name="scheme_revision_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="schemerevision",
            constraint=models.CheckConstraint(
                condition=models.Q(("validity_months__gte", 1)), name="scheme_has_a_validity"
            ),
        ),
        migrations.AddConstraint(
            model_name="schemerequirement",
            constraint=models.UniqueConstraint(
                fields=("revision", "scope", "exercise_code"), name="requirement_once_an_exercise"
            ),
        ),
        migrations.AddConstraint(
            model_name="proposal",
            constraint=models.UniqueConstraint(
                condition=models.Q(("decision", "")),
                fields=("person", "scope"),
                name="proposal_one_open_per_person_and_scope",
            ),
        ),
        migrations.AddIndex(
            model_name="certificate",
            index=models.Index(fields=["person", "scope"], name="certificate_by_person_scope"),
        ),
        migrations.AddConstraint(
            model_name="certificate",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("origin", "imported"), ("signature__isnull", False), _connector="OR"
                ),
                name="certificate_is_signed_unless_imported",
            ),
        ),
        migrations.AddConstraint(
            model_name="certificate",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("origin", "elsewhere"), _negated=True),
                    ("document__isnull", False),
                    _connector="OR",
                ),
                name="certificate_from_elsewhere_has_its_document",
            ),
        ),
        migrations.AddIndex(
            model_name="standingspan",
            index=models.Index(fields=["standing", "last_day"], name="span_by_standing_and_end"),
        ),
        migrations.AddConstraint(
            model_name="standingspan",
            constraint=models.UniqueConstraint(
                fields=("person", "scope", "first_day"), name="span_starts_once_a_day"
            ),
        ),
        migrations.AddConstraint(
            model_name="standingend",
            constraint=models.UniqueConstraint(
                fields=("span", "kind"), name="span_end_once_a_kind"
            ),
        ),
    ]
