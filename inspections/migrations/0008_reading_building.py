import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inspections', '0007_telling'),
    ]

    operations = [
        migrations.AlterField(
            model_name='reading',
            name='building',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='readings', to='portfolio.building'),
        ),
    ]
