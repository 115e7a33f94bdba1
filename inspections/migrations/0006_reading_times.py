from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inspections', '0005_replay'),
    ]

    operations = [
        migrations.AddIndex(
            model_name='reading',
            index=models.Index(fields=['taken_at', 'id'], name='reading_times'),
        ),
    ]
